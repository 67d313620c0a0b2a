"""The drilling order: bit by bit, and the shortest way of the hand within each.

One run for each bit is the smallest number of bit changes there is. Small bits
come first unless told otherwise: a hole found too small can still be opened
with the next bit, one too large cannot be closed (common practice, no source).
"""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from drillaid.design.model import Design
from drillaid.geometry import as_points
from drillaid.guidance.route import route, travel_mm


@dataclass(frozen=True)
class Run:
    """The holes of one bit, by number, in drilling order; travel from the first to the last."""

    bit_mm: float
    holes: tuple[int, ...]
    travel_mm: float


@dataclass(frozen=True)
class Order:
    """All runs. travel_mm also counts the ways between runs, and from start_mm if it was given.

    seconds: what the planning took
    """

    runs: tuple[Run, ...]
    travel_mm: float
    seconds: float = 0.0

    @property
    def holes(self) -> tuple[int, ...]:
        return tuple(hole for run in self.runs for hole in run.holes)

    def to_json(self) -> dict:
        """The object of `order --json`."""
        return {
            "runs": [
                {"bit_mm": r.bit_mm, "holes": list(r.holes), "travel_mm": round(r.travel_mm, 4)}
                for r in self.runs
            ],
            "travel_mm": round(self.travel_mm, 4),
            "seconds": round(self.seconds, 4),
        }


def plan_order(
    design: Design,
    bits: Sequence[float],
    start_mm: tuple[float, float] | None = None,
    *,
    bit_sequence: Iterable[float] | None = None,
    budget_s: float | None = None,
) -> Order:
    """Which hole after which.

    bits: the bit for each hole, mm, aligned with design.holes
    start_mm: where the hand begins, design mm; None begins where it is best
    bit_sequence: bits in the order wanted; those not named follow, small to large
    budget_s: planning time for each run; None takes 0.2 s to 2 s by its size
    A run begins near the end of the one before. Slots count with their middle.
    """
    began = time.monotonic()
    bits = [float(b) for b in bits]
    if len(bits) != len(design.holes):
        raise ValueError("one bit for each hole")
    numbers = np.array([h.number for h in design.holes], dtype=int)
    runs, at, total = [], start_mm, 0.0
    for bit in _sequence(bits, bit_sequence):
        rows = np.flatnonzero([b == bit for b in bits])
        xy = design.xy_mm[rows]
        path = route(xy, start_mm=at, budget_s=budget_s)
        total += travel_mm(xy, path, start_mm=at)
        runs.append(Run(bit, tuple(numbers[rows[path]].tolist()), travel_mm(xy, path)))
        at = tuple(xy[path[-1]])
    return Order(tuple(runs), total, time.monotonic() - began)


def written_travel_mm(design: Design, bits: Sequence[float]) -> float:
    """Travel in the order of the file, bit by bit: what the plan is compared with."""
    bits = [float(b) for b in bits]
    rows = [row for bit in _sequence(bits, None) for row, b in enumerate(bits) if b == bit]
    return travel_mm(as_points(design.xy_mm), rows)


def _sequence(bits: list[float], wanted: Iterable[float] | None) -> list[float]:
    present = sorted(set(bits))
    first = [float(bit) for bit in dict.fromkeys(wanted or ()) if bit in present]
    return first + [bit for bit in present if bit not in first]
