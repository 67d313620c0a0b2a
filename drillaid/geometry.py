"""Plane transforms with their inverses: the only matrix code.

Points are float64 arrays of shape (N, 2), one point a row, x (or u) first.
A transform is called on points and composed with `@`: `(a @ b)(p) == a(b(p))`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np


def as_points(xy) -> np.ndarray:
    """Any sequence of pairs as a float64 array of shape (N, 2)."""
    points = np.asarray(xy, dtype=np.float64)
    if points.size == 0:
        return points.reshape(0, 2)
    points = np.atleast_2d(points)
    if points.ndim != 2 or points.shape[1] != 2:
        raise ValueError(f"points must have shape (N, 2), not {points.shape}")
    return points


def wrap_angle_rad(angle):
    """The same angle in (-pi, pi]."""
    return -((-np.asarray(angle) + math.pi) % (2 * math.pi) - math.pi)


def _frozen(matrix, shape) -> np.ndarray:
    array = np.array(matrix, dtype=np.float64)
    if array.shape != shape:
        raise ValueError(f"matrix must have shape {shape}, not {array.shape}")
    array.setflags(write=False)
    return array


@dataclass(frozen=True, eq=False)
class Affine:
    """x' = A x + b; `matrix` is [A | b], shape (2, 3).

    Split for people as A = R(rotation) U M with M = diag(-1, 1) for a mirrored
    transform (determinant < 0), else the unit matrix, and
    U = [[sx, shear * sy], [0, sy]], sx, sy > 0. So `rotation_rad` is the
    direction of the x axis after mirroring x, as the rig contract asks.
    """

    matrix: np.ndarray

    def __post_init__(self):
        object.__setattr__(self, "matrix", _frozen(self.matrix, (2, 3)))

    @classmethod
    def identity(cls) -> Affine:
        return cls([[1, 0, 0], [0, 1, 0]])

    @classmethod
    def from_parts(
        cls, *, rotation_rad=0.0, scale=(1.0, 1.0), shear=0.0, offset=(0.0, 0.0), mirrored=False
    ) -> Affine:
        """The inverse of the split above; a single number scales both axes."""
        sx, sy = (scale, scale) if np.isscalar(scale) else scale
        c, s = math.cos(rotation_rad), math.sin(rotation_rad)
        linear = np.array([[c, -s], [s, c]]) @ np.array([[sx, shear * sy], [0.0, sy]])
        if mirrored:
            linear = linear @ np.diag([-1.0, 1.0])
        return cls(np.column_stack([linear, offset]))

    @property
    def linear(self) -> np.ndarray:
        return self.matrix[:, :2]

    @property
    def offset(self) -> np.ndarray:
        return self.matrix[:, 2]

    @cached_property
    def determinant(self) -> float:
        return float(np.linalg.det(self.linear))

    @property
    def mirrored(self) -> bool:
        return self.determinant < 0

    @cached_property
    def _split(self) -> tuple[float, float, float, float]:
        linear = self.linear * ([-1.0, 1.0] if self.mirrored else [1.0, 1.0])
        rotation = math.atan2(linear[1, 0], linear[0, 0])
        c, s = math.cos(rotation), math.sin(rotation)
        upper = np.array([[c, s], [-s, c]]) @ linear
        return rotation, upper[0, 0], upper[1, 1], upper[0, 1] / upper[1, 1]

    @property
    def rotation_rad(self) -> float:
        return self._split[0]

    @property
    def scale(self) -> tuple[float, float]:
        return float(self._split[1]), float(self._split[2])

    @property
    def shear(self) -> float:
        return float(self._split[3])

    def __call__(self, xy) -> np.ndarray:
        return as_points(xy) @ self.linear.T + self.offset

    def __matmul__(self, other):
        if isinstance(other, Affine):
            matrix = self.linear @ other.matrix
            matrix[:, 2] += self.offset
            return Affine(matrix)
        return Homography.of(self) @ other

    @cached_property
    def inverse(self) -> Affine:
        linear = np.linalg.inv(self.linear)
        return Affine(np.column_stack([linear, -linear @ self.offset]))

    def jacobian(self, xy) -> np.ndarray:
        """d x' / d x at each point, shape (N, 2, 2): the same everywhere."""
        return np.broadcast_to(self.linear, (len(as_points(xy)), 2, 2))


@dataclass(frozen=True, eq=False)
class Homography:
    """A projective map of the plane, `matrix` of shape (3, 3).

    The sign of the matrix carries meaning: points whose third homogeneous
    coordinate comes out positive are in front of the camera. Inverse and
    composition keep that; `scaled_for` sets it for a matrix of unknown sign.
    """

    matrix: np.ndarray

    def __post_init__(self):
        object.__setattr__(self, "matrix", _frozen(self.matrix, (3, 3)))

    @classmethod
    def of(cls, transform: Affine | Homography) -> Homography:
        if isinstance(transform, Homography):
            return transform
        return cls(np.vstack([transform.matrix, [0.0, 0.0, 1.0]]))

    @classmethod
    def scaled_for(cls, matrix, xy) -> Homography:
        """The matrix with w = 1 at the middle of the points xy, which are in front."""
        array = np.asarray(matrix, dtype=np.float64)
        middle = as_points(xy).mean(axis=0)
        return cls(array / float(array[2] @ [*middle, 1.0]))

    def __call__(self, xy) -> np.ndarray:
        """Mapped points; those on or behind the horizon come back as NaN."""
        points = as_points(xy)
        m = self.matrix
        # The library's product of so narrow matrices is slower than its terms one by one.
        x, y = np.ascontiguousarray(points.T)
        u, v, w = (a * x + b * y + c for a, b, c in m.tolist())
        front = w > 1e-12
        out = np.empty((len(points), 2))
        with np.errstate(divide="ignore", invalid="ignore"):
            np.divide(u, w, out=out[:, 0])
            np.divide(v, w, out=out[:, 1])
        if not front.all():
            out[~front] = np.nan
        return out

    def __matmul__(self, other) -> Homography:
        return Homography(self.matrix @ Homography.of(other).matrix)

    @cached_property
    def inverse(self) -> Homography:
        return Homography(np.linalg.inv(self.matrix))

    def jacobian(self, xy) -> np.ndarray:
        """d x' / d x at each point, shape (N, 2, 2)."""
        points = as_points(xy)
        m = self.matrix
        mapped = points @ m[:, :2].T + m[:, 2]
        w = mapped[:, 2][:, None, None]
        top = m[None, :2, :2]
        image = (mapped[:, :2] / mapped[:, 2:3])[:, :, None]
        return (top - image * m[None, 2:3, :2]) / w
