"""How a camera's picture is laid before the operator: turned and enlarged as the hand needs it.

Screen px: x right, y down, (0, 0) the centre of the upper left one. In a hand's view the
bench's x runs to the right and its y (away from the operator) upwards, whichever way
round the camera is mounted, so that a push to the right is seen as one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.geometry import Affine, as_points
from drillaid.rig.rig import Rig

_UP = np.diag([1.0, -1.0])  # mm with y up -> screen with y down


@dataclass(frozen=True, eq=False)
class View:
    """to_screen: pixels as photographed -> screen px; size: (width, height) of the screen;
    px_per_mm: of the screen, 0 where lengths are not known"""

    to_screen: Affine
    size: tuple[int, int]
    px_per_mm: float = 0.0

    @classmethod
    def hands(cls, px_per_mm, spindle_px, size: tuple[int, int], mm_across: float) -> View:
        """The neighbourhood of the spindle axis, which comes to the middle.

        px_per_mm: (2, 2) photograph's px per mm of the hand's axes (x right, y away)
        mm_across: length seen along the screen's shorter side
        """
        scale = min(size) / mm_across
        linear = scale * _UP @ np.linalg.inv(np.asarray(px_per_mm, dtype=np.float64))
        middle = (np.asarray(size, dtype=np.float64) - 1) / 2
        spindle = np.asarray(spindle_px, dtype=np.float64)
        return cls(Affine(np.column_stack([linear, middle - linear @ spindle])), size, scale)

    @classmethod
    def whole(cls, picture: tuple[int, int], size: tuple[int, int], px_per_mm=None) -> View:
        """All of the picture, in quarter turns of the hand's view where px_per_mm is known."""
        turn = _UP if px_per_mm is None else _quarter(px_per_mm)
        photo = (np.asarray(picture, dtype=np.float64) - 1) / 2
        spread = np.abs(turn @ np.asarray(picture, dtype=np.float64))
        scale = float((np.asarray(size, dtype=np.float64) / spread).min())
        linear = scale * turn
        middle = (np.asarray(size, dtype=np.float64) - 1) / 2
        mm = 0.0 if px_per_mm is None else scale * math.sqrt(abs(np.linalg.det(px_per_mm)))
        return cls(Affine(np.column_stack([linear, middle - linear @ photo])), size, mm)

    def picture(self, image: np.ndarray) -> np.ndarray:
        """The photograph, uint8 (H, W, 3), as this view shows it, (height, width, 3)."""
        shrink = math.sqrt(abs(self.to_screen.determinant))
        flags = cv2.INTER_AREA if shrink < 0.5 else cv2.INTER_LINEAR
        return cv2.warpAffine(image, self.to_screen.matrix, self.size, flags=flags)

    def __call__(self, px) -> np.ndarray:
        """Pixels as photographed (N, 2) -> screen px (N, 2)."""
        return self.to_screen(as_points(px))


def _quarter(px_per_mm) -> np.ndarray:
    """(2, 2) of 0 and +-1: photograph -> screen, nearest to how the hand sees it."""
    linear = _UP @ np.linalg.inv(np.asarray(px_per_mm, dtype=np.float64))
    straight = abs(linear[0, 0]) + abs(linear[1, 1]) >= abs(linear[0, 1]) + abs(linear[1, 0])
    shape = np.eye(2) if straight else np.array([[0.0, 1.0], [1.0, 0.0]])
    return np.where(shape > 0, np.sign(linear), 0.0)


FAR_MM, CLOSE_MM = 14.0, 5.0  # length seen along the screen's shorter side
_CLOSING = 6.0  # the view is so many distances across, between those two


def closing_in_mm(distance_mm: float | None) -> float:
    """Length to be seen: less the nearer the target is, so that a tolerance is seen at the end."""
    if distance_mm is None or not math.isfinite(distance_mm):
        return FAR_MM
    return min(FAR_MM, max(CLOSE_MM, _CLOSING * distance_mm))


def hands_px_per_mm(rig: Rig, at_mm, height_mm: float) -> np.ndarray:
    """(2, 2) photograph's px per bench mm about a place of the board's upper face."""
    at = np.asarray(at_mm, dtype=np.float64)
    px = rig.to_pixels(at + np.array([[0.0, 0.0], [0.5, 0.0], [0.0, 0.5]]), height_mm)
    return ((px[1:] - px[0]) / 0.5).T


def upright_px_per_mm(px_per_mm: float, quarter_turns: int = 0) -> np.ndarray:
    """The same without a rig file: the picture's right is the hand's, after quarter turns
    counter-clockwise of the picture."""
    angle = quarter_turns * math.pi / 2
    c, s = round(math.cos(angle)), round(math.sin(angle))
    turn = np.array([[c, s], [-s, c]], dtype=np.float64)  # screen (y down) <- picture (y down)
    return np.linalg.inv(_UP @ turn) * px_per_mm
