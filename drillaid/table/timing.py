"""How long a table takes for a way, and the order of holes that takes it least time.

Each axis speeds up, runs and slows down at its own limits; a straight way is as
slow as its slowest axis (constant acceleration: t = 2 sqrt(s/a) for short ways,
s/v + v/a for long ones).
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drillaid.design.model import Design
from drillaid.geometry import Affine, as_points
from drillaid.guidance.order import Order, Run
from drillaid.guidance.route import route, travel_mm


@dataclass(frozen=True)
class Pace:
    """Limits of x, y and z. The defaults are those of a slow home-made table, no source."""

    speed_mm_s: tuple[float, ...] = (20.0, 20.0, 8.0)
    acceleration_mm_s2: tuple[float, ...] = (100.0, 100.0, 60.0)

    def seconds(self, *ways_mm) -> np.ndarray:
        """For ways (arrays of equal shape) along x, y and, if given, z, moved together."""
        longest = np.zeros(np.shape(ways_mm[0]))
        for way, v, a in zip(ways_mm, self.speed_mm_s, self.acceleration_mm_s2, strict=False):
            s = np.abs(way)
            short = s < v * v / a
            longest = np.maximum(longest, np.where(short, 2 * np.sqrt(s / a), s / v + v / a))
        return longest


def plan_for_table(
    design: Design,
    bits: Sequence[float],
    to_table: Affine,
    pace: Pace,
    start_mm: tuple[float, float] | None = None,
    *,
    budget_s: float = 0.8,
) -> Order:
    """Bit by bit, small ones first, each in the order that takes this table least time.

    to_table: design mm -> table mm (with the matrix of the rig); start_mm: table mm;
    budget_s: for all runs together. The order's travel is that of the table, mm.
    """
    began = time.monotonic()
    places = to_table(design.xy_mm)
    numbers = np.array([hole.number for hole in design.holes], dtype=int)
    bits = np.asarray(bits, dtype=float)
    runs, at, total = [], start_mm, 0.0
    for bit in sorted(set(bits.tolist())):
        rows = np.flatnonzero(bits == bit)
        xy = as_points(places[rows])
        share = max(0.05, budget_s * len(rows) / max(len(bits), 1))
        path = route(xy, start_mm=at, budget_s=share, cost=pace.seconds)
        total += travel_mm(xy, path, start_mm=at)
        runs.append(Run(bit, tuple(numbers[rows[path]].tolist()), travel_mm(xy, path)))
        at = tuple(xy[path[-1]])
    return Order(tuple(runs), total, time.monotonic() - began)
