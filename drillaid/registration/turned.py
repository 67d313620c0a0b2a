"""A pattern of edges turned every way and mirrored, as Fourier transforms, few of them worked out.

The field of directions has doubled angles (`vision/edge_field`): half a turn moves its values
and changes none, a mirror moves them and turns each into its conjugate. With F the transform
of the pattern P turned by an angle, -k standing for all indices counted the other way:

    turned by half a turn more:    P(-x)              ->  F(-k)
    mirrored, x -> -x, y as it is: conj(P(-x, y))     ->  conj(F(kx, -ky))

(the flip and conjugation rules of the discrete transform, in any textbook), so that one
transform serves four placements. And what is wanted of each is a real number at every shift:
two of them come back from one inverse transform, as its real and its imaginary part.
"""

from __future__ import annotations

import cv2
import numpy as np

from drillaid.geometry import Affine
from drillaid.vision.contours import EdgeModel

ALIKE = 6  # digits of a rotation in rad that tell it from another


class TurnedPattern:
    """Compares one pattern with one picture at all shifts, a pair of rotations at a time.

    field: float32 (H, W, 2), padded so that nothing wraps onto itself; model: design mm
    """

    def __init__(self, field: np.ndarray, model: EdgeModel, px_per_mm: float) -> None:
        self._shape = field.shape[:2]
        self._model, self._px_per_mm = model, px_per_mm
        self.middle = (model.xy.min(axis=0) + model.xy.max(axis=0)) / 2
        self._picture = transformed(field) / 2  # half of a real number's transform is at -k
        self._turned_picture = 1j * np.conj(reversed_indices(self._picture))
        self._known: dict[float, np.ndarray] = {}

    def overlaps(self, rotation_rad: float, *, mirrored: bool) -> np.ndarray:
        """float32 (H, W, 2): the sum of agreements with the pattern's middle at each pixel,
        turned by rotation_rad and by half a turn more."""
        if mirrored:
            pattern = np.conj(_rows_reversed(self._spectrum(-rotation_rad)))
        else:
            pattern = self._spectrum(rotation_rad)
        both = pattern - 1j * reversed_indices(pattern)
        product = self._picture * np.conj(both) + self._turned_picture * both
        return cv2.dft(as_parts(product), flags=cv2.DFT_INVERSE | cv2.DFT_SCALE)

    def _spectrum(self, rotation_rad: float) -> np.ndarray:
        angle = rotation_rad % (2 * np.pi)
        half = angle >= np.pi
        angle -= np.pi if half else 0.0
        key = round(angle, ALIKE)
        if key not in self._known:
            self._known[key] = transformed(self._pattern(angle))
        return reversed_indices(self._known[key]) if half else self._known[key]

    def _pattern(self, rotation_rad: float) -> np.ndarray:
        """float32 (H, W, 2): the turned pattern's own field, its middle at (0, 0), wrapped round."""
        turn = Affine.from_parts(rotation_rad=rotation_rad).linear
        place = (self._model.xy - self.middle) @ turn.T * self._px_per_mm
        x, y = (self._model.normal @ turn.T).T
        height, width = self._shape
        at = np.rint(place).astype(np.int64)
        flat = (-at[:, 1] % height) * width + at[:, 0] % width
        field = np.empty((height, width, 2), np.float32)
        for k, values in enumerate((x * x - y * y, 2 * x * y)):
            field[..., k] = np.bincount(flat, values, height * width).reshape(height, width)
        return field


def as_parts(values: np.ndarray) -> np.ndarray:
    """complex64 (H, W) as float32 (H, W, 2), without a copy."""
    return values.view(np.float32).reshape(*values.shape, 2)


def transformed(parts: np.ndarray) -> np.ndarray:
    """complex64 (H, W), the Fourier transform of float32 (H, W, 2)."""
    return cv2.dft(parts, flags=cv2.DFT_COMPLEX_OUTPUT).view(np.complex64)[..., 0]


def reversed_indices(values: np.ndarray) -> np.ndarray:
    """(H, W) with the value of (-row, -column) at (row, column), indices wrapped."""
    turned = np.empty_like(values)
    turned[0, 0] = values[0, 0]
    turned[0, 1:] = values[0, :0:-1]
    turned[1:, 0] = values[:0:-1, 0]
    turned[1:, 1:] = values[:0:-1, :0:-1]
    return turned


def _rows_reversed(values: np.ndarray) -> np.ndarray:
    """(H, W) with the value of (-row, column) at (row, column), indices wrapped."""
    turned = np.empty_like(values)
    turned[0] = values[0]
    turned[1:] = values[:0:-1]
    return turned
