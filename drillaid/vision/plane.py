"""The board's plane as the camera sees it, and a picture of it seen from straight above.

Plane coordinates: x right, y up (as the bench frame); with a rig in mm on the
board's upper face, without one in an arbitrary unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import cv2
import numpy as np

from drillaid.geometry import Affine, Homography, as_points
from drillaid.rig.rig import Rig


class PlaneView(Protocol):
    """Both ways between plane coordinates and pixels as photographed."""

    size_px: tuple[int, int]  # width, height of the photograph

    def to_px(self, xy) -> np.ndarray: ...

    def to_plane(self, px) -> np.ndarray: ...


@dataclass(frozen=True, eq=False)
class RigPlane:
    """The plane z = height_mm of a calibrated rig, in bench mm."""

    rig: Rig
    height_mm: float

    @property
    def size_px(self) -> tuple[int, int]:
        return self.rig.width, self.rig.height

    @cached_property
    def _plane(self) -> Homography:
        return self.rig.plane(self.height_mm)

    @cached_property
    def _rays(self) -> Homography:
        return self.rig.rays_of_plane(self.height_mm)

    def to_px(self, xy) -> np.ndarray:
        # Not by way of a pinhole's pixels and back to rays, which takes a fifth longer.
        return self.rig.seen(self._rays(xy))

    def to_plane(self, px) -> np.ndarray:
        return self._plane.inverse(self.rig.undistort(px))


@dataclass(frozen=True, eq=False)
class FreePlane:
    """A plane known only by its homography, plane unit -> px, with no lens terms."""

    homography: Homography
    size_px: tuple[int, int]

    def to_px(self, xy) -> np.ndarray:
        return self.homography(xy)

    def to_plane(self, px) -> np.ndarray:
        return self.homography.inverse(px)


@dataclass(frozen=True, eq=False)
class FlatPicture:
    """A picture of the plane from straight above.

    image: as the photograph's; to_plane: its px -> plane coordinates
    valid: uint8 (H, W), 255 where the photograph covers it
    """

    image: np.ndarray
    to_plane: Affine
    valid: np.ndarray

    @property
    def px_per_unit(self) -> float:
        return 1.0 / self.to_plane.scale[0]


def visible_bounds(view: PlaneView, step: int = 64) -> tuple[np.ndarray, np.ndarray]:
    """Lower left and upper right of the photograph's footprint, plane coordinates."""
    width, height = view.size_px
    u = np.linspace(0, width - 1, max(2, width // step))
    v = np.linspace(0, height - 1, max(2, height // step))
    rim = np.concatenate(
        [
            np.column_stack([u, np.zeros_like(u)]),
            np.column_stack([u, np.full_like(u, height - 1)]),
            np.column_stack([np.zeros_like(v), v]),
            np.column_stack([np.full_like(v, width - 1), v]),
        ]
    )
    corners = view.to_plane(rim)
    corners = corners[np.isfinite(corners).all(axis=1)]
    return corners.min(axis=0), corners.max(axis=0)


def flatten(
    image: np.ndarray, view: PlaneView, px_per_unit: float, *, max_px: int = 2600, averaged: bool = False
) -> FlatPicture:
    """The photograph warped to the plane at px_per_unit (less where it would pass max_px).

    averaged: of a photograph several times finer the means of squares of pixels are taken first
    """
    low, high = visible_bounds(view)
    px_per_unit = min(px_per_unit, max_px / float((high - low).max()))
    width, height = (int(n) for n in np.ceil((high - low) * px_per_unit) + 1)
    to_plane = Affine([[1 / px_per_unit, 0, low[0]], [0, -1 / px_per_unit, high[1]]])
    # The map is smooth: computed on a coarse grid and interpolated between.
    grid = 16
    u = np.arange(0, width + grid, grid, dtype=np.float64)
    v = np.arange(0, height + grid, grid, dtype=np.float64)
    points = np.stack(np.meshgrid(u, v), axis=-1).reshape(-1, 2)
    coarse = view.to_px(to_plane(points)).astype(np.float32).reshape(len(v), len(u), 2)
    coarse = np.nan_to_num(coarse, nan=-1e4)
    times = _finer(coarse, grid) if averaged else 1
    image = _reduced(image, times)
    coarse = (coarse + 0.5) / times - 0.5
    step = np.float32(1.0 / grid)
    scale = np.array([[step, 0, 0], [0, step, 0]], dtype=np.float32)
    fine = cv2.warpAffine(
        coarse, scale, (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
    flat = cv2.remap(image, fine, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    photo_w, photo_h = image.shape[1], image.shape[0]
    inside = cv2.inRange(fine, (0.0, 0.0), (photo_w - 1.0, photo_h - 1.0))
    return FlatPicture(flat, to_plane, inside)


def _finer(coarse: np.ndarray, grid: int) -> int:
    """How many times finer than the flat picture the photograph is, nowhere less.

    coarse: float32 (R, C, 2), where in the photograph every `grid`-th pixel comes from
    """
    step = np.linalg.norm(np.diff(coarse, axis=1), axis=2) / grid
    seen = (coarse[:, 1:] > -1e3).all(axis=2) & (coarse[:, :-1] > -1e3).all(axis=2)
    return max(1, int(step[seen].min())) if seen.any() else 1


def _reduced(image: np.ndarray, times: int) -> np.ndarray:
    """Means of squares of `times` pixels: what a coarser picture would have seen, with less
    noise. Pixels that fill no square at the right and lower rim are left out."""
    if times == 1:
        return image
    height, width = (n // times for n in image.shape[:2])
    whole = image[: height * times, : width * times]
    return cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA)


def free_plane(matrix, size_px: tuple[int, int]) -> FreePlane:
    """A FreePlane from any 3 x 3 matrix plane -> px, its sign set by the picture's middle."""
    width, height = size_px
    middle = as_points([[width / 2, height / 2]])
    inverse = Homography.scaled_for(np.linalg.inv(matrix), middle)
    return FreePlane(inverse.inverse, size_px)
