"""Edges that are known beforehand, looked for where they should be.

The copper of a design, or of a board seen before, is a set of edge points with
normals. In a picture each is looked for along its normal only: one number, how
far the edge is from where it should be. Thousands of such readings find a board
to a small part of a pixel, and tell it from another that has the same holes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np

from drillaid.vision.sampling import along_lines, grey_at, sample


CLIMB = 3  # samples, from where an edge seems steepest to where it is
BESIDE_PX = 2.0  # of a mask: surely on one side of an edge


@dataclass(frozen=True, eq=False)
class EdgeModel:
    """M edge points: xy (M, 2) in the model's frame (design mm), normal (M, 2) unit
    vectors from bare to copper (of learnt edges: from dark to bright); narrow: (M, 2) bool,
    across a narrow gap of bare board another edge lies, and across narrow copper; None where
    it is not known."""

    xy: np.ndarray
    normal: np.ndarray
    narrow: np.ndarray | None = None

    def __len__(self) -> int:
        return len(self.xy)

    def only(self, index) -> EdgeModel:
        narrow = None if self.narrow is None else self.narrow[index]
        return EdgeModel(self.xy[index], self.normal[index], narrow)

    def moved_in(self, all_alike: float, narrow: tuple[float, float] = (0.0, 0.0)) -> EdgeModel:
        """Every edge moved along its normal, those across narrow gaps and copper further."""
        far = all_alike if self.narrow is None else (all_alike + self.narrow @ narrow)[:, None]
        return replace(self, xy=self.xy + self.normal * far)


@dataclass(frozen=True, eq=False)
class EdgeReadings:
    """Aligned with the model. off: how far along the normal the edge was found, in the
    model's unit; step: change of brightness along the normal at that place, grey levels
    per sample, signed; clear: whether there is one edge rather than none or noise."""

    off: np.ndarray
    step: np.ndarray
    clear: np.ndarray


def edge_model_of(
    mask: np.ndarray, to_model, px_per_unit: float, *, spacing: float, narrow: float = 0.0
) -> EdgeModel:
    """Edge points of a picture of copper, at least about `spacing` apart.

    mask: uint8 (H, W), 255 copper; to_model: its px -> model frame (Affine)
    narrow: gaps and copper less wide than that are told
    """
    soft = cv2.GaussianBlur(mask, (0, 0), 1.5)
    # Most of a board is no edge: slopes are worked out only where one may be, which takes a
    # third of the time.
    where = cv2.findNonZero(cv2.inRange(soft, 64, 191))  # a quarter about one half
    u, v = np.zeros((2, 0), np.intp) if where is None else where.reshape(-1, 2).T.astype(np.intp)
    level, dx, dy = _slopes_at(soft, u, v)
    strength = np.sqrt(dx * dx + dy * dy)
    # The ideal edge under this blur has a slope of 0.27; less is a corner or a
    # gap too narrow to read.
    sharp = strength > 0.2
    g = strength[sharp]
    normal = np.column_stack([dx[sharp], dy[sharp]]) / g[:, None]
    px = np.column_stack([u[sharp], v[sharp]]) + normal * ((0.5 - level[sharp]) / g)[:, None]
    keep = thin_out(px, spacing * px_per_unit)
    linear = to_model.linear
    turned = normal[keep] @ linear.T
    turned /= np.linalg.norm(turned, axis=1, keepdims=True)
    slim = np.column_stack(
        [_ends_within(mask, px[keep], side * normal[keep], narrow * px_per_unit) for side in (-1, 1)]
    )
    return EdgeModel(to_model(px[keep]), turned, slim)


def _ends_within(mask: np.ndarray, px: np.ndarray, away: np.ndarray, reach_px: float) -> np.ndarray:
    """(K,) bool: going `away` (K, 2) from edges the other edge comes within reach."""
    steps = np.arange(BESIDE_PX, reach_px + 0.5)
    if not len(px) or not len(steps):
        return np.zeros(len(px), bool)
    at = np.rint(px[:, None] + away[:, None] * steps[:, None]).astype(np.intp)
    height, width = mask.shape
    u, v = at[..., 0].clip(0, width - 1), at[..., 1].clip(0, height - 1)
    return (mask[v, u] != mask[v[:, :1], u[:, :1]]).any(axis=1)


def _slopes_at(soft: np.ndarray, u: np.ndarray, v: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Of a picture uint8 (H, W) at pixels (K,): its level, 0 to 1, and its slopes along u and v
    by Sobel's masks."""
    wide = cv2.copyMakeBorder(soft, 1, 1, 1, 1, cv2.BORDER_REFLECT_101)
    flat, row = wide.ravel(), wide.shape[1]
    here = (v + 1) * row + u + 1

    def level(shift: int) -> np.ndarray:
        return flat[here + shift].astype(np.int32)

    corner = level(row + 1) - level(-row - 1)
    other = level(row - 1) - level(1 - row)
    dx = corner - other + 2 * (level(1) - level(-1))
    dy = corner + other + 2 * (level(row) - level(-row))
    whole = 255.0
    return level(0) / whole, dx / (8 * whole), dy / (8 * whole)


def thin_out(points: np.ndarray, spacing: float, seed: int = 0) -> np.ndarray:
    """Indices of at most one point in each cell of `spacing`, chosen by a seeded draw."""
    if not len(points):
        return np.zeros(0, np.intp)
    column, row = (np.floor(points[:, k] / spacing).astype(np.intp) for k in (0, 1))
    column -= column.min()
    row -= row.min()
    # Whoever is written last into a cell stays there: the first of the draw. No sorting.
    draw = np.random.default_rng(seed).permutation(len(points))[::-1]
    kept = np.full((row.max() + 1) * (column.max() + 1), -1)
    kept[(row * (column.max() + 1) + column)[draw]] = draw
    return np.sort(kept[kept >= 0])


def read_edges(
    grey, to_px, model: EdgeModel, reach: float, *, noise: float, px_per_unit: float, weights=None
) -> EdgeReadings:
    """Looks for every edge within `reach` on both sides of its place.

    grey: float32 (H, W); or uint8 BGR with the weights (3,) that make it grey, which
    saves converting a whole picture for a few thousand places
    to_px: model frame (K, 2) -> pixels; px_per_unit: pixels per unit there
    """
    m = len(model)
    step = min(reach, 0.3 / max(px_per_unit, 1e-9) * 4)
    ends = to_px(np.concatenate([model.xy + model.normal * step, model.xy - model.normal * step]))
    middle, along = (ends[:m] + ends[m:]) / 2, (ends[:m] - ends[m:]) / (2 * step)
    count = min(max(math.ceil(2 * reach * px_per_unit / 0.6), 8), 64) | 1
    t = np.linspace(-reach, reach, count)
    px = along_lines(middle, along, t)
    values = sample(grey, px) if weights is None else grey_at(grey, px, weights)
    slope = np.zeros_like(values)
    slope[:, 1:-1] = (values[:, 2:] - values[:, :-2]) / 2
    slope[:, 1:-1] = 0.25 * slope[:, :-2] + 0.5 * slope[:, 1:-1] + 0.25 * slope[:, 2:]
    # Of two edges the nearer is likelier the one meant.
    near = np.exp(-0.5 * (t / (0.6 * reach)) ** 2)
    at = (np.abs(slope) * near).argmax(axis=1)
    inner, rows = np.clip(at, 1, count - 2), np.arange(m)
    sign = np.sign(slope[rows, inner])
    # That only says which edge is meant: where it is steepest lies farther out than it seems
    # in so narrow a view, and edges read there would all be drawn to their middle.
    for _ in range(CLIMB):
        left, here, right = (slope[rows, inner + k] * sign for k in (-1, 0, 1))
        inner += (right > here).astype(np.intp) - ((left > here) & (left >= right))
        np.clip(inner, 1, count - 2, out=inner)
    left, here, right = (slope[rows, inner + k] * sign for k in (-1, 0, 1))
    bend = left - 2 * here + right
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where(bend < 0, 0.5 * (left - right) / bend, 0.0)
    off = t[inner] + np.clip(shift, -0.7, 0.7) * (t[1] - t[0])
    # Four sigmas of what noise does to the smoothed difference; at the rim none is told.
    clear = (left < here) & (right <= here) & (bend < 0) & (here > 1.7 * noise)
    return EdgeReadings(off, here * sign, clear)
