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
    extra: all keys of the file that we do not use, kept for saving
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

    def project(self, xyz_mm) -> np.ndarray:
        """Bench points (N, 3) mm -> pixels (N, 2) as photographed, lens included."""
        points = np.asarray(xyz_mm, dtype=np.float64).reshape(-1, 1, 3)
        pixels, _ = cv2.projectPoints(
            points, self.rotation_vector, self.translation_mm, self.matrix, self.distortion
        )
        return pixels.reshape(-1, 2)

    def undistort(self, px) -> np.ndarray:
        """Pixels as photographed (N, 2) -> where a lens without distortion would show them."""
        points = as_points(px)
        if not len(points):
            return points
        # The iteration converges slowly at the corners of wide lenses; 1e-9 px
        # costs nothing beside a picture.
        criteria = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 60, 1e-12)
        out = cv2.undistortPoints(
            points.reshape(-1, 1, 2), self.matrix, self.distortion, None, None, self.matrix, criteria
        )
        return out.reshape(-1, 2)

    def distort(self, px) -> np.ndarray:
        """The inverse of `undistort`."""
        points = as_points(px)
        if not len(points):
            return points
        rays = np.column_stack([points, np.ones(len(points))]) @ np.linalg.inv(self.matrix).T
        zero = np.zeros(3)
        out, _ = cv2.projectPoints(rays.reshape(-1, 1, 3), zero, zero, self.matrix, self.distortion)
        return out.reshape(-1, 2)

    def to_bench(self, px, height_mm: float) -> np.ndarray:
        """Pixels as photographed (N, 2) -> bench mm (N, 2) on the plane z = height_mm.

        A pixel whose ray never meets the plane gives NaN.
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
