"""Water over the board: a rinsing tray, with ripples that bend every ray.

Each ray from the camera is refracted at the rippled surface by Snell's law and
followed down to the board's upper face. Ripples also gather the lamp's light
(caustics) and mirror it (glints), and water that has been used is murky.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.rig.rig import Rig

REFRACTION = 1.333  # of water against air, at 20 degrees and yellow light
_STEP, _WAVES = 4, 14
_GLINT = 0.035  # spread of slopes that mirror the lamp
_VEIL = (150.0, 158.0, 150.0)


@dataclass(frozen=True)
class Water:
    """depth_mm: over the board's face; ripple_mm: rms height of the waves;
    wave_mm: usual length of a wave; murk: share of the light scattered on the way;
    glints: brightness of the lamp in the waves, grey levels; seed: of the waves
    """

    depth_mm: float = 12.0
    ripple_mm: float = 0.15
    wave_mm: float = 15.0
    murk: float = 0.1
    glints: float = 180.0
    seed: int = 0


class WaterSurface:
    """One moment of the water, seen by one camera."""

    def __init__(self, water: Water, rig: Rig, face_mm: float):
        self.water = water
        u = np.arange(-_STEP, rig.width + 2 * _STEP, _STEP, dtype=np.float64)
        v = np.arange(-_STEP, rig.height + 2 * _STEP, _STEP, dtype=np.float64)
        px = np.stack(np.meshgrid(u, v), axis=-1).reshape(-1, 2)
        at = rig.to_bench(px, face_mm + water.depth_mm)
        slope, curve = _waves(water, at)
        below = _refracted(at, slope, rig.camera_mm, face_mm + water.depth_mm, water.depth_mm)
        size = (rig.width, rig.height)
        grid = (len(v), len(u))
        self._where = _enlarged(rig.to_pixels(below, face_mm).reshape(*grid, 2), size)
        # Rays that the surface spreads by 1 + a leave 1 / (1 + a) of the light.
        spread = 1 + water.depth_mm * (1 - 1 / REFRACTION) * curve
        self._gain = _enlarged(np.clip(1 / np.maximum(spread, 0.4), 0.5, 2.0).reshape(grid), size)
        rng = np.random.default_rng([water.seed, 22])
        lamp = rng.uniform(0.03, 0.09) * np.array(_unit(rng.uniform(0, 2 * math.pi)))
        off = np.linalg.norm(slope - lamp, axis=1) / _GLINT
        glint = water.glints * np.exp(-0.5 * off**2) ** 3
        self._glint = _enlarged(glint.reshape(grid), size)

    def draw(self, frame: np.ndarray) -> np.ndarray:
        """The scene as it looks through the water, uint8 (H, W, 3)."""
        seen = cv2.remap(
            frame, self._where, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        ).astype(np.float32)
        seen *= self._gain[..., None]
        murk = np.float32(self.water.murk)
        seen += murk * (np.array(_VEIL, np.float32) - seen)
        seen += self._glint[..., None]
        return np.clip(seen, 0, 255).astype(np.uint8)


def _unit(angle_rad: float) -> tuple[float, float]:
    return math.cos(angle_rad), math.sin(angle_rad)


def _waves(water: Water, at_mm: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(slope (N, 2), Laplacian of the height (N,) 1/mm) of crossing waves."""
    rng = np.random.default_rng([water.seed, 21])
    slope, curve = np.zeros((len(at_mm), 2)), np.zeros(len(at_mm))
    each = water.ripple_mm * math.sqrt(2 / _WAVES)
    for _ in range(_WAVES):
        number = 2 * math.pi / (water.wave_mm * math.exp(rng.normal(0, 0.3)))
        k = number * np.array(_unit(rng.uniform(0, 2 * math.pi)))
        phase = at_mm @ k + rng.uniform(0, 2 * math.pi)
        slope += each * np.cos(phase)[:, None] * k
        curve -= each * number**2 * np.sin(phase)
    return slope, curve


def _refracted(at_mm, slope, camera_mm, surface_mm: float, depth_mm: float) -> np.ndarray:
    """(N, 2) where rays from the camera through the surface at at_mm meet the ground.

    Snell's law for vectors: with unit ray d, unit normal n against it, ratio r of the
    indices and c = -n.d, the refracted ray is r d + (r c - sqrt(1 - r^2 (1 - c^2))) n.
    """
    ray = np.column_stack([at_mm, np.full(len(at_mm), surface_mm)]) - camera_mm
    ray /= np.linalg.norm(ray, axis=1, keepdims=True)
    normal = np.column_stack([-slope, np.ones(len(slope))])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    ratio = 1 / REFRACTION
    cosine = -np.sum(ray * normal, axis=1)
    root = np.sqrt(np.maximum(1 - ratio**2 * (1 - cosine**2), 0))
    bent = ratio * ray + (ratio * cosine - root)[:, None] * normal
    return at_mm + bent[:, :2] * (depth_mm / np.maximum(-bent[:, 2], 0.05))[:, None]


def _enlarged(coarse: np.ndarray, size: tuple[int, int]) -> np.ndarray:
    """A field on the grid of every fourth px, from -4 px on, at every px."""
    width, height = size
    matrix = np.array([[1 / _STEP, 0, 1.0], [0, 1 / _STEP, 1.0]])
    coarse = np.nan_to_num(coarse, nan=-1e4).astype(np.float32)
    return cv2.warpAffine(
        coarse, matrix, (width, height), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    )
