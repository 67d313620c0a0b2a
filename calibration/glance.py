"""A quick look for the pattern in a live picture: enough to choose views, not to measure."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from calibration.bundle import Seen, pose_of
from calibration.marks import agreeing, find_marks, mark_corners_mm
from calibration.pattern import Pattern
from calibration.views import find_chessboard

LOOK_PX = 800  # longer side of the picture looked at
GUESSED_FOCAL = 0.85  # of the picture's longer side, good enough to tell tilts apart
STILL = 1.6  # mean change of the small picture, grey levels
SMALL = (192, 108)


@dataclass(frozen=True, eq=False)
class Glance:
    """px, mm: (N, 2) points of the pattern, to about a pixel
    tilt: (2,) how steeply the sheet recedes to the right and downwards in the picture
    (0.36 is 20 degrees); distance_mm: to the pattern's middle as seen, through a guessed lens
    """

    px: np.ndarray
    mm: np.ndarray
    tilt: np.ndarray
    distance_mm: float

    def unlike(self, other: Glance, size_px) -> float:
        """How different two views are; 1 is worth a view of its own."""
        place = (self.px.mean(axis=0) - other.px.mean(axis=0)) / (0.25 * np.array(size_px))
        tilt = (self.tilt - other.tilt) / 0.3
        distance = np.log(self.distance_mm / other.distance_mm) / 0.3
        return float(np.sqrt((place**2).sum() + (tilt**2).sum() + distance**2))


def glance(grey: np.ndarray, pattern: Pattern) -> Glance | None:
    """Where the pattern lies in a uint8 grey picture, or None."""
    points = _coded(grey, pattern) if pattern.coded else _plain(grey, pattern)
    if points is None:
        return None
    px, mm = points
    focal = GUESSED_FOCAL * max(grey.shape)
    middle = (grey.shape[1] - 1) / 2, (grey.shape[0] - 1) / 2
    values = np.array([focal, focal, *middle, 0, 0, 0, 0, 0.0])
    pose = pose_of(Seen(mm, px, np.ones(len(px))), values)
    if pose is None:
        return None
    turn = cv2.Rodrigues(pose[:3])[0]
    normal = turn[:, 2]
    if normal[2] < 0.2:
        return None
    distance = float((turn @ np.array([*mm.mean(axis=0), 0.0]) + pose[3:])[2])
    return Glance(px, mm, -normal[:2] / normal[2], max(distance, 1e-3))


def _coded(grey, pattern):
    marks = find_marks(grey, pattern, LOOK_PX)
    marks = marks.only(agreeing(marks, pattern))
    if len(marks) < 4:
        return None
    return marks.px.reshape(-1, 2), mark_corners_mm(pattern)[marks.ids].reshape(-1, 2)


def _plain(grey, pattern):
    px = find_chessboard(grey, (pattern.columns - 1, pattern.rows - 1), LOOK_PX, thorough=False)
    return None if px is None else (px, pattern.corners_mm)


class Stillness:
    """Whether the picture holds still, from a small copy of it."""

    def __init__(self):
        self._last: np.ndarray | None = None

    def moved(self, grey: np.ndarray) -> float:
        """Mean change since the last picture, grey levels; inf for the first."""
        small = cv2.resize(grey, SMALL, interpolation=cv2.INTER_AREA).astype(np.float32)
        last, self._last = self._last, small
        return np.inf if last is None else float(np.abs(small - last).mean())
