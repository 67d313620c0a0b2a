"""Discs, squares and oblongs drawn exactly: sampled 8 x 8 in every pixel, then blurred and noisy."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

FINE = 8


@dataclass(frozen=True)
class Figure:
    """kind "disc" (an ellipse where the sides differ), "box" or "oblong"; full width and
    height in px; turned counter-clockwise on the screen's axes (u right, v down)."""

    kind: str
    at: tuple[float, float]
    size: tuple[float, float]
    turn_rad: float = 0.0

    def holds(self, u: np.ndarray, v: np.ndarray) -> np.ndarray:
        """Which of the points lie inside."""
        c, s = np.cos(self.turn_rad), np.sin(self.turn_rad)
        x, y = u - self.at[0], v - self.at[1]
        x, y = c * x + s * y, c * y - s * x
        w, h = self.size[0] / 2, self.size[1] / 2
        if self.kind == "disc":
            return (x / w) ** 2 + (y / h) ** 2 < 1
        if self.kind == "box":
            return (np.abs(x) < w) & (np.abs(y) < h)
        r = min(w, h)
        x = np.maximum(np.abs(x) - (w - r), 0)
        y = np.maximum(np.abs(y) - (h - r), 0)
        return np.hypot(x, y) < r


def disc(u: float, v: float, radius: float) -> Figure:
    """A round pad."""
    return Figure("disc", (u, v), (2 * radius, 2 * radius))


def coverage(shape: tuple[int, int], figures) -> np.ndarray:
    """The share of each pixel that the union of the figures covers, float32 (H, W)."""
    height, width = shape
    fine = np.zeros((height * FINE, width * FINE), np.uint8)
    for figure in figures:
        reach = np.hypot(*figure.size) / 2 + 2
        low = np.floor(np.subtract(figure.at, reach)).astype(int)
        high = np.ceil(np.add(figure.at, reach)).astype(int)
        u0, v0 = np.clip(low, 0, [width, height])
        u1, v1 = np.clip(high, 0, [width, height])
        if u1 <= u0 or v1 <= v0:
            continue
        u = (np.arange(u0 * FINE, u1 * FINE) + 0.5) / FINE - 0.5
        v = (np.arange(v0 * FINE, v1 * FINE) + 0.5) / FINE - 0.5
        part = fine[v0 * FINE : v1 * FINE, u0 * FINE : u1 * FINE]
        part |= figure.holds(u[None, :], v[:, None])
    return fine.reshape(height, FINE, width, FINE).mean(axis=(1, 3), dtype=np.float32)


def picture(
    shape: tuple[int, int], figures, rng=None, *, inside=180.0, outside=80.0, blur_px=0.8, noise=0.0
) -> np.ndarray:
    """float32 (H, W); noise: sigma of each pixel, grey levels."""
    grey = outside + (inside - outside) * coverage(shape, figures)
    if blur_px > 0:
        grey = cv2.GaussianBlur(grey, (0, 0), blur_px)
    if noise > 0:
        grey = grey + rng.normal(0, noise, shape)
    return grey.astype(np.float32)


def scattered(rng, columns: int, rows: int, pitch: float) -> np.ndarray:
    """(N, 2) px: places on a grid, each moved by up to half a pixel both ways."""
    u, v = np.meshgrid(np.arange(columns), np.arange(rows))
    grid = np.column_stack([u.ravel(), v.ravel()]) * pitch + pitch
    return grid + rng.uniform(-0.5, 0.5, grid.shape)


def plain(xy) -> np.ndarray:
    """The map of pixels to pixels."""
    return np.asarray(xy, dtype=np.float64)
