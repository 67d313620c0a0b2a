"""Seeded noise fields: the stuff no real surface is without. All float32."""

from __future__ import annotations

import math

import cv2
import numpy as np


def soft_noise(rng: np.random.Generator, shape: tuple[int, int], cell_px: float) -> np.ndarray:
    """Smooth noise of zero mean and unit deviation; features about cell_px wide."""
    height, width = shape
    rows = max(3, int(math.ceil(height / cell_px)) + 3)
    columns = max(3, int(math.ceil(width / cell_px)) + 3)
    small = rng.standard_normal((rows, columns), dtype=np.float32)
    if cell_px <= 1.0:
        return small[:height, :width] if small.shape >= shape else small
    # Cut out of a larger picture so that the border does not repeat the outermost cells.
    big = cv2.resize(
        small,
        (int(columns * cell_px) + 1, int(rows * cell_px) + 1),
        interpolation=cv2.INTER_CUBIC,
    )
    top, left = int(cell_px), int(cell_px)
    part = big[top : top + height, left : left + width]
    # Cubic interpolation of unit noise has a deviation of about 0.73.
    return part / np.float32(0.73)


def layered_noise(
    rng: np.random.Generator, shape: tuple[int, int], cell_px: float, layers: int = 3
) -> np.ndarray:
    """Soft noise at cell_px, cell_px/3, cell_px/9 …, each weaker by half."""
    total = np.zeros(shape, np.float32)
    weight, norm = 1.0, 0.0
    for _ in range(layers):
        if cell_px < 1.5:
            break
        total += np.float32(weight) * soft_noise(rng, shape, cell_px)
        norm += weight**2
        weight, cell_px = weight / 2, cell_px / 3
    return total / np.float32(math.sqrt(max(norm, 1e-9)))


def streaks(
    rng: np.random.Generator, shape: tuple[int, int], angle_rad: float, length_px: float
) -> np.ndarray:
    """Brush marks: fine across angle_rad, length_px long along it; zero mean, unit deviation."""
    height, width = shape
    side = int(math.hypot(height, width)) + 4
    across, along = side // 2, max(4, int(side / length_px))
    small = rng.standard_normal((across, along), dtype=np.float32)
    turn = cv2.getRotationMatrix2D((0, 0), -math.degrees(angle_rad), 1.0)
    scale = np.diag([side / along, side / across, 1.0])
    matrix = np.vstack([turn, [0, 0, 1]]) @ scale
    middle = matrix @ [along / 2, across / 2, 1.0]
    matrix[:2, 2] += np.array([width / 2, height / 2]) - middle[:2]
    out = cv2.warpAffine(
        small, matrix[:2], (width, height), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT
    )
    return out / np.float32(0.7)


def rgb(*values: float) -> np.ndarray:
    """A colour named in the usual order, as BGR float32 (3,)."""
    return np.array(values[::-1], np.float32)
