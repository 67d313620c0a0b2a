"""A pattern of edges turned every way and mirrored, as Fourier transforms, few of them worked out.

What is wanted is the sum of agreements at every shift: with the doubled angles of the field of
directions (`vision/edge_field`), values p of the pattern and x of the picture, the real part of
the correlation of x with p. Half a turn more lays p(-r) at r. Both at once, as the real and the
imaginary part of one inverse transform, come from one transform: with Q that of p(r) - i p(-r),
X that of the picture and X- the same at the negative of each index (* conjugated),

    ( X Q*  +  i X-* Q ) / 2

And a mirrored pattern over the picture is the pattern over the mirrored picture, whose columns
count the other way and whose values are conjugated (the flip and conjugation rules of the
discrete transform, in any textbook). So one transform of the pattern serves four placements,
where they are asked for one after the other: `together` says which.
"""

from __future__ import annotations

import threading
from functools import cached_property

import cv2
import numpy as np

from drillaid.vision.contours import EdgeModel

ALIKE = 6  # digits of a rotation in rad that tell it from another


class TurnedPattern:
    """Compares one pattern with one picture at all shifts, a pair of rotations at a time.

    field: float32 (H, W, 2), padded so that nothing wraps onto itself; model: design mm
    """

    def __init__(self, field: np.ndarray, model: EdgeModel, px_per_mm: float) -> None:
        self._shape, self._field = field.shape[:2], field
        self._px_per_mm = px_per_mm
        self.middle = (model.xy.min(axis=0) + model.xy.max(axis=0)) / 2
        self._local, self._normal = (model.xy - self.middle).T.copy(), model.normal.T.copy()
        # Of each thread: of so large arrays new ones cost more than what is worked out in them.
        self._room = threading.local()

    def overlaps(self, rotation_rad: float, *, mirrored: bool) -> np.ndarray:
        """float32 (2, H, W): the sum of agreements with the pattern's middle at each pixel,
        turned by rotation_rad and by half a turn more; holds until the thread's next call.
        Mirrored, columns count the other way: `column_of` tells which is meant."""
        picture, reverse = self._mirror_image if mirrored else self._picture
        angle, half = _first_half(rotation_rad, mirrored=mirrored)
        both, room = self._spectrum(angle), self._work_room
        np.conj(both, out=room.product)
        room.product *= picture
        np.multiply(both, reverse, out=room.other)
        room.product += room.other
        parts = as_parts(room.other)
        cv2.dft(as_parts(room.product), dst=parts, flags=cv2.DFT_INVERSE | cv2.DFT_SCALE)
        cv2.split(parts, list(room.planes[::-1] if half else room.planes))
        return room.planes

    def column_of(self, column: int, *, mirrored: bool) -> int:
        """Of the picture, for one of `overlaps`."""
        return -column % self._shape[1] if mirrored else column

    @property
    def _work_room(self) -> threading.local:
        if not hasattr(self._room, "product"):
            large = np.empty((4, *self._shape), np.complex64)
            self._room.product, self._room.other, self._room.field, self._room.spectrum = large
            self._room.planes = np.empty((2, *self._shape), np.float32)
            self._room.angle = None
        return self._room

    @cached_property
    def _picture(self) -> tuple[np.ndarray, np.ndarray]:
        return _halved(self._field)

    @cached_property
    def _mirror_image(self) -> tuple[np.ndarray, np.ndarray]:
        return _halved(np.roll(self._field[:, ::-1], 1, axis=1) * np.float32([1, -1]))

    def _spectrum(self, angle_rad: float) -> np.ndarray:
        """Of the pattern turned by it; the thread's last one is kept."""
        room = self._work_room
        if room.angle is None or abs(angle_rad - room.angle) > 10.0**-ALIKE:
            self._lay(room.field, angle_rad)
            cv2.dft(as_parts(room.field), dst=as_parts(room.spectrum), flags=cv2.DFT_COMPLEX_OUTPUT)
            room.angle = angle_rad
        return room.spectrum

    def _lay(self, field: np.ndarray, rotation_rad: float) -> None:
        """Into complex64 (H, W): p(r) - i p(-r), p the turned pattern's own field, its middle
        at (0, 0), wrapped round."""
        (c, s), width = (np.cos(rotation_rad), np.sin(rotation_rad)), self._shape[1]
        (x, y), (nx, ny) = self._local * self._px_per_mm, self._normal
        column, row = (np.rint(v).astype(np.int64) for v in (c * x - s * y, -s * x - c * y))
        # Rows before the first one are counted from the end, as indices below 0 are.
        here = 2 * (row * width + column + width * (column < 0))
        there = 2 * (width * (column > 0) - row * width - column)
        nx, ny = c * nx - s * ny, s * nx + c * ny
        cos, sin = (nx * nx - ny * ny).astype(np.float32), (2 * nx * ny).astype(np.float32)
        flat = field.view(np.float32).reshape(-1)
        flat.fill(0.0)
        for at, values in ((here, cos), (here + 1, sin), (there, sin), (there + 1, -cos)):
            np.add.at(flat, at, values)


def _first_half(rotation_rad: float, *, mirrored: bool) -> tuple[float, bool]:
    """The pattern's own angle below half a turn, and whether it is turned by half a turn more."""
    angle = (-rotation_rad if mirrored else rotation_rad) % (2 * np.pi)
    return (angle - np.pi, True) if angle >= np.pi else (angle, False)


def together(sides, rotations_rad) -> list[list[tuple[bool, float]]]:
    """(mirrored, rotation) of every side, none twice up to half a turn, those together that
    one transform serves."""
    trials: dict[float, dict] = {}
    for mirrored in sides:
        for turn in np.asarray(rotations_rad) % np.pi:
            key = round(_first_half(turn, mirrored=mirrored)[0], ALIKE)
            trials.setdefault(key, {})[mirrored] = float(turn)
    return [list(of_sides.items()) for of_sides in trials.values()]


def _halved(field: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """complex64 (H, W) twice: X / 2 and i X-* / 2."""
    picture = transformed(np.ascontiguousarray(field)) / 2
    return picture, 1j * np.conj(reversed_indices(picture))


def as_parts(values: np.ndarray) -> np.ndarray:
    """complex64 (H, W) as float32 (H, W, 2), without a copy."""
    return values.view(np.float32).reshape(*values.shape, 2)


def transformed(parts: np.ndarray) -> np.ndarray:
    """complex64 (H, W), the Fourier transform of float32 (H, W, 2)."""
    return cv2.dft(parts, flags=cv2.DFT_COMPLEX_OUTPUT).view(np.complex64)[..., 0]


def reversed_indices(values: np.ndarray) -> np.ndarray:
    """(H, W) with the value of (-row, -column) at (row, column), indices wrapped."""
    return np.roll(values[::-1, ::-1], (1, 1), axis=(0, 1))
