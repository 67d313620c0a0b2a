"""Small dots: dark ones near places where they are expected, and all that a picture shows.

Each place's surroundings are correlated with the picture of a soft dot, normalised so that
neither brightness nor contrast counts; near expected places at every small shift.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from drillaid.vision.eye import Eye
from drillaid.vision.sampling import sample

STEP_MM, WINDOW_MM = 0.06, 0.5  # of the patch that is compared with a dot
SOFT_MM = 0.04  # of a mark's edge
SLACK = 3  # steps that a dot may lie from where it is expected


@dataclass(frozen=True, eq=False)
class Dots:
    """likeness (N,): correlation of each place's surroundings with a dark dot, -1 ... 1,
    -1 outside the picture; off_mm (N, 2): where the likeness is highest; in_view (N,)"""

    likeness: np.ndarray
    off_mm: np.ndarray
    in_view: np.ndarray


def dots_at(eye: Eye, to_px, places_mm: np.ndarray, radius_mm: float) -> Dots:
    """How much each place looks like a mark, at the best of the shifts within SLACK.

    eye: a mixture in which copper is bright; to_px: design mm -> pixels
    """
    return dots_of_sizes(eye, to_px, places_mm, (radius_mm,))[0]


def dots_of_sizes(
    eye: Eye, to_px, places_mm: np.ndarray, radii_mm: tuple[float, ...], window_mm: float = WINDOW_MM
) -> list[Dots]:
    """The same for several sizes of mark; window_mm: radius of what is compared."""
    px = to_px((places_mm[:, None, None, :] + _grid(window_mm)).reshape(-1, 2))
    patch = sample(eye.grey, px).reshape(len(places_mm), -1)
    at = to_px(places_mm)
    width, height = eye.size_px
    with np.errstate(invalid="ignore"):
        seen = ((at > 6) & (at < [width - 7, height - 7])).all(axis=1)
    looks = []
    for radius in radii_mm:
        table = _likeness(patch, float(radius), float(window_mm), eye.noise)
        likeness, off = _highest(table)
        looks.append(Dots(np.where(seen, likeness, -1.0), off, seen))
    return looks


def _highest(table: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(N,) the highest of each (side, side) of shifts, (N, 2) where, mm: between the steps
    by a parabola along either axis."""
    count, side, _ = table.shape
    row, column = np.divmod(table.reshape(count, -1).argmax(axis=1), side)
    each = np.arange(count)
    off = np.empty((count, 2))
    for axis, at in enumerate((column, row)):
        inner = np.clip(at, 1, side - 2)
        before, here, after = (
            table[each, row, inner + k] if axis == 0 else table[each, inner + k, column]
            for k in (-1, 0, 1)
        )
        bend = np.minimum(before - 2 * here + after, -1e-9)
        off[:, axis] = inner + np.clip(0.5 * (before - after) / bend, -1.0, 1.0)
    return table[each, row, column], (off - SLACK) * STEP_MM


def _likeness(patch: np.ndarray, radius_mm: float, window_mm: float, noise: float) -> np.ndarray:
    """(N, side, side) normalised correlation of patches (N, M) with a soft dot at every shift;
    where noise is all there is, near zero."""
    near, dot = _templates(radius_mm, window_mm)
    many = near.sum(axis=0)
    values = patch - patch.mean(axis=1, keepdims=True)
    power = values**2 @ near - (values @ near) ** 2 / many + noise**2 * many
    found = (values @ dot) / np.sqrt((dot**2).sum(axis=0) * np.maximum(power, 1e-9))
    return found.reshape(len(patch), 2 * SLACK + 1, 2 * SLACK + 1)


def _grid(window_mm: float) -> np.ndarray:
    """(side, side, 2) mm about a place: what is sampled for a window and its shifts."""
    reach = int(np.ceil(window_mm / STEP_MM)) + SLACK
    axis = np.arange(-reach, reach + 1) * STEP_MM
    return np.stack(np.meshgrid(axis, axis), axis=-1)


@lru_cache(maxsize=64)
def _templates(radius_mm: float, window_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """float32 (M, shifts): what of the grid lies in the window, and the dot in it."""
    steps = np.arange(-SLACK, SLACK + 1) * STEP_MM
    shift = np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)
    away = np.linalg.norm(_grid(window_mm).reshape(-1, 1, 2) - shift, axis=2)
    return _soft_dot(away, radius_mm, window_mm)


def _soft_dot(away: np.ndarray, radius_mm: float, window_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """float32, as `away` (M, K), mm from each of K places: the window, and a dark dot in it of
    zero mean."""
    near = (away <= window_mm).astype(np.float32)
    dot = near / (1.0 + np.exp((radius_mm - away) / SOFT_MM))
    dot -= near * (dot.sum(axis=0) / near.sum(axis=0))
    return near, dot.astype(np.float32)


def find_dots(
    grey: np.ndarray, noise: float, px_per_mm: float, radii_mm: tuple[float, ...]
) -> np.ndarray:
    """float32 (H, W): how like a dot of one of the radii each pixel's surroundings are, dark or
    bright, 0 ... 1; where noise is all there is, near zero.

    grey: float32 (H, W) of a flat picture
    """
    reach = int(np.ceil(WINDOW_MM * px_per_mm))
    v, u = np.mgrid[-reach : reach + 1, -reach : reach + 1] / px_per_mm
    away = np.hypot(u, v)
    masks = [_soft_dot(away.reshape(-1, 1), radius, WINDOW_MM) for radius in radii_mm]
    near = masks[0][0].reshape(away.shape)
    many = float(near.sum())

    def summed(values: np.ndarray, mask: np.ndarray) -> np.ndarray:
        return cv2.filter2D(values, cv2.CV_32F, mask, borderType=cv2.BORDER_REFLECT)

    grey = grey - np.float32(grey.mean())  # squares of small numbers lose less
    power = summed(grey * grey, near) - summed(grey, near) ** 2 / many
    power = np.maximum(power, 0.0) + np.float32(noise**2 * many)
    best = np.zeros(grey.shape, np.float32)
    for _, dot in masks:
        likeness = np.abs(summed(grey, dot.reshape(away.shape)))
        likeness /= np.sqrt(power * float((dot**2).sum()))
        np.maximum(best, likeness, out=best)
    return best
