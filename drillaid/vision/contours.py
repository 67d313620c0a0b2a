"""Edges that are known beforehand, looked for where they should be.

The copper of a design, or of a board seen before, is a set of edge points with
normals. In a picture each is looked for along its normal only: one number, how
far the edge is from where it should be. Thousands of such readings find a board
to a small part of a pixel, and tell it from another that has the same holes.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.vision.sampling import along_lines, grey_at, sample


@dataclass(frozen=True, eq=False)
class EdgeModel:
    """M edge points: xy (M, 2) in the model's frame (design mm), normal (M, 2) unit
    vectors from bare to copper (of learnt edges: from dark to bright)."""

    xy: np.ndarray
    normal: np.ndarray

    def __len__(self) -> int:
        return len(self.xy)

    def only(self, index) -> EdgeModel:
        return EdgeModel(self.xy[index], self.normal[index])


@dataclass(frozen=True, eq=False)
class EdgeReadings:
    """Aligned with the model. off: how far along the normal the edge was found, in the
    model's unit; step: change of brightness along the normal at that place, grey levels
    per sample, signed; clear: whether there is one edge rather than none or noise."""

    off: np.ndarray
    step: np.ndarray
    clear: np.ndarray


def edge_model_of(mask: np.ndarray, to_model, px_per_unit: float, *, spacing: float) -> EdgeModel:
    """Edge points of a picture of copper, at least about `spacing` apart.

    mask: uint8 (H, W), 255 copper; to_model: its px -> model frame (Affine)
    """
    soft = cv2.GaussianBlur(mask, (0, 0), 1.5).astype(np.float32) / 255.0
    dx = cv2.Sobel(soft, cv2.CV_32F, 1, 0, ksize=3, scale=1 / 8)
    dy = cv2.Sobel(soft, cv2.CV_32F, 0, 1, ksize=3, scale=1 / 8)
    # Not cv2.magnitude: its last bit hangs on where in memory the picture happens to lie.
    strength = np.sqrt(dx * dx + dy * dy)
    v, u = np.nonzero((np.abs(soft - 0.5) < 0.25) & (strength > 0.12))
    # The ideal edge under this blur has a slope of 0.27; less is a corner or a
    # gap too narrow to read.
    g = strength[v, u]
    sharp = g > 0.2
    u, v, g = u[sharp], v[sharp], g[sharp]
    normal = np.column_stack([dx[v, u], dy[v, u]]) / g[:, None]
    px = np.column_stack([u, v]) + normal * ((0.5 - soft[v, u]) / g)[:, None]
    keep = thin_out(px, spacing * px_per_unit)
    linear = to_model.linear
    turned = normal[keep] @ linear.T
    turned /= np.linalg.norm(turned, axis=1, keepdims=True)
    return EdgeModel(to_model(px[keep]), turned)


def thin_out(points: np.ndarray, spacing: float, seed: int = 0) -> np.ndarray:
    """Indices of at most one point in each cell of `spacing`, chosen by a seeded draw."""
    order = np.random.default_rng(seed).permutation(len(points))
    cell = np.floor(points[order] / spacing).astype(np.int64)
    _, first = np.unique(cell[:, 0] * 1_000_003 + cell[:, 1], return_index=True)
    return np.sort(order[first])


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
    count = int(np.clip(np.ceil(2 * reach * px_per_unit / 0.6), 8, 64)) | 1
    t = np.linspace(-reach, reach, count)
    px = along_lines(middle, along, t)
    values = sample(grey, px) if weights is None else grey_at(grey, px, weights)
    slope = np.zeros_like(values)
    slope[:, 1:-1] = (values[:, 2:] - values[:, :-2]) / 2
    slope[:, 1:-1] = 0.25 * slope[:, :-2] + 0.5 * slope[:, 1:-1] + 0.25 * slope[:, 2:]
    # Of two edges the nearer is likelier the one meant.
    near = np.exp(-0.5 * (t / (0.6 * reach)) ** 2)
    at = (np.abs(slope) * near).argmax(axis=1)
    inner = np.clip(at, 1, count - 2)
    rows = np.arange(m)
    peak = slope[rows, inner]
    sign = np.sign(peak)
    left, right = slope[rows, inner - 1] * sign, slope[rows, inner + 1] * sign
    bend = left - 2 * np.abs(peak) + right
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where(bend < 0, 0.5 * (left - right) / bend, 0.0)
    off = t[inner] + np.clip(shift, -0.7, 0.7) * (t[1] - t[0])
    # Four sigmas of what noise does to the smoothed difference.
    clear = (inner == at) & (bend < 0) & (np.abs(peak) > 1.7 * noise)
    return EdgeReadings(off, peak, clear)
