"""How well views cover what determines a lens: the whole picture, tilts, distances."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

GRID = (8, 5)  # cells of coverage across and down
CORNER_SHARE = 0.2  # a corner of the picture is this share of each side
CORNERS = ("upper left", "upper right", "lower left", "lower right")


@dataclass(frozen=True, eq=False)
class Spread:
    """grid: (rows, columns) bool, cells of the picture in which corners were seen
    hull_share: of the picture within the hull of all corners
    unseen: names of the corners of the picture that no view reaches
    tilt_deg: largest angle between the directions from which two views saw the sheet
    """

    grid: np.ndarray
    hull_share: float
    unseen: tuple[str, ...]
    tilt_deg: float

    @property
    def coverage(self) -> float:
        """Share of the picture's cells that were seen."""
        return float(self.grid.mean())


def spread_of(
    corners_px: Sequence[np.ndarray], poses: np.ndarray, size_px: tuple[int, int]
) -> Spread:
    """corners_px: per view (N, 2); poses: (V, 6) pattern -> camera; size_px: (width, height)."""
    every = np.concatenate(corners_px)
    size = np.array(size_px, float)
    hull = cv2.convexHull(every.astype(np.float32))
    return Spread(
        seen_cells(every, size_px),
        float(cv2.contourArea(hull) / size.prod()),
        tuple(
            name
            for name, seen in zip(CORNERS, seen_corners(every, size_px), strict=True)
            if not seen
        ),
        tilt_spread_deg(poses),
    )


def seen_cells(px: np.ndarray, size_px: tuple[int, int]) -> np.ndarray:
    """(rows, columns) bool: cells of GRID that hold one of the points (N, 2)."""
    grid = np.zeros(GRID[::-1], bool)
    cell = ((px + 0.5) / np.array(size_px) * GRID).astype(int).clip(0, np.array(GRID) - 1)
    grid[cell[:, 1], cell[:, 0]] = True
    return grid


def seen_corners(px: np.ndarray, size_px: tuple[int, int]) -> np.ndarray:
    """(4,) bool in the order of CORNERS."""
    u, v = ((px + 0.5) / np.array(size_px, float)).T
    low_u, high_u = u < CORNER_SHARE, u > 1 - CORNER_SHARE
    low_v, high_v = v < CORNER_SHARE, v > 1 - CORNER_SHARE
    return np.array([(a & b).any() for b in (low_v, high_v) for a in (low_u, high_u)])


def normals_of(poses: np.ndarray) -> np.ndarray:
    """(V, 3) unit normals of the sheet in the camera frame, away from the camera."""
    return np.array([cv2.Rodrigues(np.asarray(pose[:3], float))[0][:, 2] for pose in poses])


def tilt_spread_deg(poses: np.ndarray) -> float:
    """Largest angle between two views' normals; views that differ by it see depth."""
    normals = normals_of(poses)
    cosine = np.clip(normals @ normals.T, -1, 1)
    return float(np.degrees(np.arccos(cosine.min())))
