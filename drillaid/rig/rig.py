"""The calibrated model of camera, bench plane and spindle: pixels <-> bench mm at any height.

Frames as in DEVELOPERS.md: bench mm (x right, y away from the operator, z up),
camera mm (x right, y down, z forward), pixels with (0, 0) the centre of the
upper left pixel. The lens follows the OpenCV model (k1, k2, p1, p2, k3).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import cv2
import numpy as np

from drillaid.geometry import Homography, as_points


@dataclass(frozen=True, eq=False)
class Rig:
    """One rig. X_camera = R X_bench + t.

    width, height: of the picture, px
    matrix: (3, 3), px; distortion: (5,), k1 k2 p1 p2 k3
    rotation_vector: (3,), Rodrigues, rad, bench -> camera; translation_mm: (3,)
    axis_mm: (2,) where the spindle axis meets z = 0, or None if not yet known
    lean: (2,) mm sideways per mm up
    extra: all keys of the file that we do not use, nested as there, kept for saving
    text: the file as it was read, so that saving keeps comments and order
    """

    width: int
    height: int
    matrix: np.ndarray
    distortion: np.ndarray
    rotation_vector: np.ndarray
    translation_mm: np.ndarray
    axis_mm: np.ndarray | None = None
    lean: np.ndarray = field(default_factory=lambda: np.zeros(2))
    extra: dict = field(default_factory=dict)
    text: str = field(default="", repr=False)

    def __post_init__(self):
        shapes = {
            "matrix": (3, 3),
            "distortion": (5,),
            "rotation_vector": (3,),
            "translation_mm": (3,),
            "axis_mm": (2,),
            "lean": (2,),
        }
        for name, shape in shapes.items():
            value = getattr(self, name)
            if value is None:
                continue
            array = np.array(value, dtype=np.float64)
            if array.shape != shape:
                raise ValueError(f"{name} must have shape {shape}, not {array.shape}")
            array.setflags(write=False)
            object.__setattr__(self, name, array)

    @cached_property
    def rotation(self) -> np.ndarray:
        """Bench -> camera, (3, 3)."""
        return cv2.Rodrigues(self.rotation_vector)[0]

    @cached_property
    def camera_mm(self) -> np.ndarray:
        """The camera's centre in the bench frame, (3,)."""
        return -self.rotation.T @ self.translation_mm

    def plane(self, height_mm: float) -> Homography:
        """Bench mm on the plane z = height_mm -> UNDISTORTED px."""
        r = self.rotation
        columns = np.column_stack([r[:, 0], r[:, 1], r[:, 2] * height_mm + self.translation_mm])
        return Homography(self.matrix @ columns)

    @cached_property
    def _fold_r2(self) -> float:
        """Squared distance from the axis, in focal lengths, where the lens model turns back.

        r (1 + k1 r^2 + k2 r^4 + k3 r^6) grows only up to there; beyond, the
        polynomial would show far things inside the picture.
        """
        k1, k2, _, _, k3 = self.distortion
        # Its derivative in w = 1 / r^2, which stays well posed as terms vanish.
        roots = np.roots([1.0, 3 * k1, 5 * k2, 7 * k3])
        real = roots[np.abs(roots.imag) <= 1e-9 * np.abs(roots)].real
        largest = max(real, default=0.0)
        return float(1 / largest) if largest > 1e-9 else np.inf

    def _bent(self, xy: np.ndarray) -> np.ndarray:
        """Straight ray -> bent ray, (N, 2), in focal lengths.

        The OpenCV model, from "Camera Calibration and 3D Reconstruction" in the OpenCV manual.
        """
        bent = np.empty_like(xy)
        bent[:, 0], bent[:, 1] = self._bent_each(*np.ascontiguousarray(xy.T))
        return bent

    def _bent_each(self, x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The same, one coordinate after the other: in one piece each, half the time."""
        k1, k2, p1, p2, k3 = self.distortion
        xx, yy = x * x, y * y
        r2 = xx + yy
        radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
        cross = 2 * x * y
        return (
            x * radial + p1 * cross + p2 * (r2 + 2 * xx),
            y * radial + p1 * (r2 + 2 * yy) + p2 * cross,
        )

    def _bending(self, xy: np.ndarray) -> np.ndarray:
        """The Jacobian (N, 2, 2) of `_bent`; the derivative is ours."""
        k1, k2, p1, p2, k3 = self.distortion
        x, y = xy[:, 0], xy[:, 1]
        r2 = x * x + y * y
        radial = 1 + r2 * (k1 + r2 * (k2 + r2 * k3))
        slope = 2 * (k1 + r2 * (2 * k2 + r2 * 3 * k3))  # d radial / dx = slope * x
        jacobian = np.empty((len(xy), 2, 2))
        jacobian[:, 0, 0] = radial + slope * x * x + 2 * p1 * y + 6 * p2 * x
        jacobian[:, 0, 1] = jacobian[:, 1, 0] = slope * x * y + 2 * p1 * x + 2 * p2 * y
        jacobian[:, 1, 1] = radial + slope * y * y + 6 * p1 * y + 2 * p2 * x
        return jacobian

    def _rays(self, px: np.ndarray) -> np.ndarray:
        """Pixels -> focal lengths off the axis."""
        m = self.matrix
        return (px - m[:2, 2]) / np.array([m[0, 0], m[1, 1]])

    def _pixels(self, rays: np.ndarray) -> np.ndarray:
        m = self.matrix
        return rays * np.array([m[0, 0], m[1, 1]]) + m[:2, 2]

    def rays_of_plane(self, height_mm: float) -> Homography:
        """Bench (x, y) at a height, mm -> straight rays in focal lengths off the axis."""
        m = self.matrix
        inverse = np.array(
            [[1 / m[0, 0], 0, -m[0, 2] / m[0, 0]], [0, 1 / m[1, 1], -m[1, 2] / m[1, 1]], [0, 0, 1]]
        )
        return Homography(inverse @ self.plane(height_mm).matrix)

    def project(self, xyz_mm) -> np.ndarray:
        """Bench points (N, 3) mm -> pixels (N, 2) as photographed, lens included.

        Points behind the camera, or so far aside that the lens model folds
        back, give NaN.
        """
        points = np.asarray(xyz_mm, dtype=np.float64).reshape(-1, 3)
        camera = points @ self.rotation.T + self.translation_mm
        depth = camera[:, 2:]
        with np.errstate(divide="ignore", invalid="ignore"):
            rays = np.where(depth > 1e-9, camera[:, :2] / depth, np.nan)
        return self.seen(rays)

    def seen(self, rays: np.ndarray) -> np.ndarray:
        """Straight rays (N, 2), in focal lengths off the axis -> pixels as photographed; NaN
        where the lens model folds back."""
        x, y = np.ascontiguousarray(rays.T)
        visible = x * x + y * y < self._fold_r2  # NaN compares false
        all_are = visible.all()
        if not all_are:
            x, y = np.where(visible, x, 0.0), np.where(visible, y, 0.0)
        m, pixels = self.matrix, np.empty((len(x), 2))
        for k, bent in enumerate(self._bent_each(x, y)):
            np.multiply(bent, m[k, k], out=pixels[:, k])
            pixels[:, k] += m[k, 2]
        if not all_are:
            pixels[~visible] = np.nan
        return pixels

    def undistort(self, px) -> np.ndarray:
        """Pixels as photographed (N, 2) -> where a lens without distortion would show them.

        NaN where the lens model cannot have put anything. Newton's method: the
        usual fixed-point iteration fails on strong barrel distortion.
        """
        goal = self._rays(as_points(px))
        if not self.distortion.any():
            return self._pixels(goal)
        rays = goal.copy()
        for _ in range(50):
            bent, jacobian = self._bent(rays), self._bending(rays)
            (a, b), (c, d) = jacobian[:, 0].T, jacobian[:, 1].T
            off = goal - bent
            with np.errstate(all="ignore"):
                step = np.column_stack(
                    [d * off[:, 0] - b * off[:, 1], a * off[:, 1] - c * off[:, 0]]
                ) / (a * d - b * c)[:, None]
                # From the goal the radial part approaches from one side, so
                # only a wild step at the fold needs holding back.
                size = np.hypot(step[:, 0], step[:, 1])
                step *= np.minimum(1.0, 0.5 / np.maximum(size, 1e-300))[:, None]
            rays = rays + step
            if not (size > 1e-8).any():  # Newton: what is left is the square of it
                break
        with np.errstate(all="ignore"):
            bent = self._bent(rays)
            found = (np.abs(bent - goal).max(axis=1, initial=0) < 1e-9) & (
                (rays**2).sum(axis=1) < self._fold_r2
            )
        rays[~found] = np.nan
        return self._pixels(rays)

    def distort(self, px) -> np.ndarray:
        """The inverse of `undistort`; NaN where the lens model folds back."""
        return self.seen(self._rays(as_points(px)))

    def to_bench(self, px, height_mm: float) -> np.ndarray:
        """Pixels as photographed (N, 2) -> bench mm (N, 2) on the plane z = height_mm.

        A pixel whose ray never meets the plane, or that the lens model cannot
        reach, gives NaN.
        """
        return self.plane(height_mm).inverse(self.undistort(px))

    def to_pixels(self, xy_mm, height_mm: float) -> np.ndarray:
        """Bench mm (N, 2) at z = height_mm -> pixels as photographed (N, 2)."""
        points = as_points(xy_mm)
        return self.project(np.column_stack([points, np.full(len(points), float(height_mm))]))

    def spindle_mm(self, height_mm: float) -> np.ndarray | None:
        """Where the spindle axis meets the plane z = height_mm, bench mm (2,)."""
        return None if self.axis_mm is None else self.axis_mm + self.lean * height_mm

    def px_per_mm(self, height_mm: float = 0.0) -> float:
        """At the middle of the picture, the mean over directions."""
        middle = np.array([[(self.width - 1) / 2, (self.height - 1) / 2]])
        plane = self.plane(height_mm)
        return float(np.sqrt(abs(np.linalg.det(plane.jacobian(plane.inverse(middle))[0]))))
