"""Copper for a design that comes without any: a round rim about each hole.

With a drill list alone nobody knows the lands. But lands of one bit size are
mostly alike, and a board that lies where we think it lies shows their rims: the
radius at which the brightness changes the same way round all holes of that size.
"""

from __future__ import annotations

import numpy as np

from drillaid.geometry import Affine
from drillaid.registration.probing import Eye
from drillaid.vision.contours import EdgeModel, read_edges

SPACING_MM = 0.3
WIDEST_MM = 1.3  # of copper beyond the hole's edge


def rims(holes_mm: np.ndarray, radius_mm: np.ndarray) -> EdgeModel:
    """Edge points of discs, normals inwards (from bare to copper)."""
    xy, normal = [], []
    for centre, radius in zip(holes_mm, radius_mm, strict=True):
        count = max(8, int(2 * np.pi * radius / SPACING_MM))
        angle = np.arange(count) * (2 * np.pi / count)
        out = np.column_stack([np.cos(angle), np.sin(angle)])
        xy.append(centre + radius * out)
        normal.append(-out)
    return EdgeModel(np.concatenate(xy), np.concatenate(normal))


def groups_of(drill_mm: np.ndarray) -> np.ndarray:
    """A number for each hole, the same for holes whose lands may be alike: by size,
    sizes with fewer than five holes joined to the next."""
    order = np.unique(np.round(drill_mm, 2))
    label, group, count = {}, 0, 0
    for size in order:
        label[size] = group
        count += int((np.round(drill_mm, 2) == size).sum())
        if count >= 5:
            group, count = group + 1, 0
    return np.array([label[size] for size in np.round(drill_mm, 2)])


def rim_radii(
    eye: Eye, to_px, placement: Affine, holes_mm, drill_mm, px_per_mm: float, *,
    start: np.ndarray | None = None, step_mm: float = 0.08,
) -> np.ndarray:
    """The likeliest radius of each hole's land, mm (N,).

    to_px: plane -> pixels; start: radii known to about 0.15 mm, or None
    """
    groups = groups_of(drill_mm)
    radius = np.zeros(len(holes_mm))
    for group in np.unique(groups):
        mine = np.flatnonzero(groups == group)
        if start is None:
            low = drill_mm[mine] / 2 + 0.12
            trials = np.arange(0.0, WIDEST_MM - 0.12, step_mm)
        else:
            low = start[mine]
            trials = np.arange(-0.16, 0.161, step_mm)
        telling = [
            _telling(eye, to_px, placement, holes_mm[mine], low + grow, px_per_mm) for grow in trials
        ]
        radius[mine] = low + trials[int(np.argmax(telling))]
    return np.maximum(radius, 0.25)


def _telling(eye: Eye, to_px, placement, holes_mm, radius_mm, px_per_mm: float) -> float:
    """How much the brightness changes, the same way, at this radius round these holes."""
    model = rims(holes_mm, radius_mm)
    got = read_edges(
        eye.grey, lambda xy: to_px(placement(xy)), model, 0.14, noise=eye.noise, px_per_unit=px_per_mm
    )
    # Clipped, so that one glaring edge does not outvote ten plain ones.
    limit = np.median(np.abs(got.step[got.clear])) if got.clear.any() else 1.0
    step = np.clip(np.where(got.clear, got.step, 0.0), -limit, limit)
    return float(abs(step.sum()) / len(model) / max(limit, 1e-6))
