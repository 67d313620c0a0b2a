"""A small piece of the board, seen squarely, at a known scale, without lens or tilt."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.design.ring import depth_mm
from drillaid.geometry import as_points
from drillaid.registration.result import Placement
from drillaid.rig.rig import Rig

FINEST_PX_PER_MM = 80.0
OVERSAMPLING = 1.4  # patch pixels to a photograph pixel: cubic sampling loses little then


@dataclass(frozen=True, eq=False)
class Board:
    """The board's upper face as a plane in mm, and its picture.

    Plane axes are the bench's when a rig is given, else the design's.
    to_pixels: plane mm (N, 2) -> pixels as photographed
    design_to_plane, plane_to_design: (N, 2) -> (N, 2)
    px_per_mm: of the photograph
    """

    image: np.ndarray
    to_pixels: Callable[[np.ndarray], np.ndarray]
    design_to_plane: Callable[[np.ndarray], np.ndarray]
    plane_to_design: Callable[[np.ndarray], np.ndarray]
    px_per_mm: float
    rig: Rig | None = None
    thickness_mm: float = 0.0

    @classmethod
    def of(cls, image, placement: Placement, rig: Rig | None, thickness_mm: float) -> Board:
        if rig is None:
            def same(xy_mm):
                return as_points(xy_mm)

            return cls(image, placement.homography, same, same, placement.px_per_mm)
        # From the homography, not the affine matrix: it is what the pads were fitted with.
        undistorted = rig.plane(thickness_mm).inverse @ placement.homography

        def to_pixels(xy_mm):
            return rig.to_pixels(xy_mm, thickness_mm)

        scale = rig.px_per_mm(thickness_mm)
        return cls(
            image, to_pixels, undistorted, undistorted.inverse, scale, rig, float(thickness_mm)
        )

    def lower_rim_mm(self, at_mm) -> np.ndarray:
        """How far the lower rim of a hole seems displaced from the upper one, (2,) mm.

        A point x at z = 0 is seen through the plane z = thickness at
        x + (C - x) thickness / C_z, C the camera: the far wall comes into sight,
        and there the dark of the hole does not end at its upper rim.
        Zero without a rig, since nothing is known then.
        """
        if self.rig is None:
            return np.zeros(2)
        camera = self.rig.camera_mm
        return (camera[:2] - np.asarray(at_mm)) * self.thickness_mm / camera[2]


@dataclass(frozen=True, eq=False)
class Patch:
    """image: float32 (S, S, 3) BGR; the pixel (i, j) (column, row) shows the plane at
    origin_mm + (i, j) / px_per_mm. inside: bool (S, S), False where the photograph ends.
    """

    image: np.ndarray
    inside: np.ndarray
    origin_mm: np.ndarray
    px_per_mm: float

    def to_px(self, xy_mm) -> np.ndarray:
        return (as_points(xy_mm) - self.origin_mm) * self.px_per_mm

    def distance_mm(self, xy_mm) -> np.ndarray:
        """Of every pixel from a place in the plane, (S, S)."""
        centre = self.to_px(xy_mm)[0]
        axis = np.arange(self.image.shape[0])
        return np.hypot(axis[None, :] - centre[0], axis[:, None] - centre[1]) / self.px_per_mm

    def sample(self, xy_mm: np.ndarray) -> np.ndarray:
        """Colour at places of shape (R, C, 2), cubic: (R, C, 3)."""
        px = ((xy_mm - self.origin_mm) * self.px_per_mm).astype(np.float32)
        return cv2.remap(
            self.image, px[..., 0], px[..., 1], cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
        )


@dataclass(frozen=True, eq=False)
class Stack:
    """N patches of one size, each about its own place.

    images: float32 (N, S, S, 3) BGR; inside: bool (N, S, S)
    middles_mm: (N, 2) of the plane, shown at the middle of each patch
    depth_mm: (N, S, S), each pixel's depth in its own land, negative outside it
    """

    images: np.ndarray
    inside: np.ndarray
    middles_mm: np.ndarray
    depth_mm: np.ndarray
    px_per_mm: float

    @property
    def size(self) -> int:
        return self.images.shape[1]

    def axes_mm(self) -> tuple[np.ndarray, np.ndarray]:
        """x and y of each pixel from the patch's middle, (1, S) and (S, 1)."""
        axis = (np.arange(self.size) - (self.size - 1) / 2) / self.px_per_mm
        return axis[None, :], axis[:, None]


def stack(board: Board, places: Sequence[tuple], half_mm: float) -> tuple[Stack, np.ndarray]:
    """The patches of several places that are in the picture, and which they are.

    places: (at_mm, land or None) each; without a land everything counts as inside it
    """
    kept, patches, depths = [], [], []
    for i, (at_mm, land) in enumerate(places):
        patch = cut(board, at_mm, half_mm) if np.isfinite(at_mm).all() else None
        if patch is None:
            continue
        count = patch.image.shape[0]
        depth = np.full((count, count), 1.0)
        if land is not None:
            axis = np.arange(count) / patch.px_per_mm
            grid = np.stack(np.meshgrid(axis, axis), axis=-1).reshape(-1, 2) + patch.origin_mm
            depth = depth_mm(land, board.plane_to_design(grid)).reshape(count, count)
        kept.append(i)
        patches.append(patch)
        depths.append(depth)
    if not kept:
        return None, np.array([], int)
    middles = np.array([places[i][0] for i in kept])
    return Stack(
        np.stack([p.image for p in patches]), np.stack([p.inside for p in patches]), middles,
        np.stack(depths).astype(np.float32), patches[0].px_per_mm,
    ), np.array(kept)  # fmt: skip


def cut(board: Board, centre_mm, half_mm: float) -> Patch | None:
    """The square of 2 half_mm round a place in the plane; None where the picture does not show it.

    The lens is taken as projective over the few millimetres of the square: its
    departure from that is of third order, below 1e-3 px for any lens we accept.
    """
    scale = min(FINEST_PX_PER_MM, OVERSAMPLING * board.px_per_mm)
    count = int(np.ceil(2 * half_mm * scale)) + 1
    origin = np.asarray(centre_mm, dtype=np.float64) - (count - 1) / 2 / scale
    corners = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * float(count - 1)
    pixels = board.to_pixels(origin + corners / scale)
    height, width = board.image.shape[:2]
    if not np.isfinite(pixels).all():
        return None
    middle = pixels.mean(axis=0)
    if not (0 <= middle[0] <= width - 1 and 0 <= middle[1] <= height - 1):
        return None
    back = _through(corners, pixels)
    flags = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    image = cv2.warpPerspective(
        board.image, back, (count, count), flags=flags, borderMode=cv2.BORDER_REPLICATE
    )
    grid = np.stack(np.meshgrid(np.arange(count), np.arange(count)), axis=-1).reshape(-1, 2)
    seen = np.column_stack([grid, np.ones(len(grid))]) @ back.T
    seen = seen[:, :2] / seen[:, 2:]
    inside = ((seen >= 0) & (seen <= [width - 1, height - 1])).all(axis=1)
    return Patch(image.astype(np.float32), inside.reshape(count, count), origin, scale)


def _through(corners: np.ndarray, pixels: np.ndarray) -> np.ndarray:
    """The homography that takes four corners to four pixels, (3, 3).

    Solved here because OpenCV's takes single-precision points: 1e-4 px at the
    far side of a large photograph.
    """
    rows = []
    for (x, y), (u, v) in zip(corners, pixels, strict=True):
        rows.append([x, y, 1, 0, 0, 0, -u * x, -u * y])
        rows.append([0, 0, 0, x, y, 1, -v * x, -v * y])
    return np.append(np.linalg.solve(np.array(rows), pixels.reshape(-1)), 1.0).reshape(3, 3)
