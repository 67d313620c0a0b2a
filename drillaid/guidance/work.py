"""The work on one board as a row of stops: a place, its bit, and the hole it belongs to."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from drillaid.design.model import Design, Hole
from drillaid.guidance.order import Order


@dataclass(frozen=True)
class Stop:
    """Where the bit goes down once. A round hole is one stop, a slot several.

    part: from 1 … parts, within the hole; xy_mm in the design frame
    """

    hole: int
    xy_mm: tuple[float, float]
    bit_mm: float
    part: int = 1
    parts: int = 1


def stops_of(hole: Hole, bit_mm: float) -> tuple[Stop, ...]:
    """The stops of one hole.

    A slot is drilled at its two ends first, then between them, each at least a
    bit's width from the next, so that no bit runs off into a neighbour
    (common practice, no source); the webs that stay are filed away.
    """
    if hole.slot_to_mm is None:
        return (Stop(hole.number, hole.xy_mm, bit_mm),)
    start, end = np.array(hole.xy_mm), np.array(hole.slot_to_mm)
    gaps = max(1, math.floor(float(np.hypot(*(end - start))) / bit_mm + 1e-9))
    along = [0.0, 1.0] + [k / gaps for k in range(1, gaps)]
    places = [tuple((start + f * (end - start)).tolist()) for f in along]
    return tuple(
        Stop(hole.number, place, bit_mm, part, len(places))
        for part, place in enumerate(places, start=1)
    )


@dataclass(frozen=True)
class Work:
    """All stops in planned order; each hole's stops stand together, each bit's too."""

    stops: tuple[Stop, ...]

    @classmethod
    def of(cls, design: Design, order: Order) -> Work:
        holes = {hole.number: hole for hole in design.holes}
        return cls(
            tuple(
                stop
                for run in order.runs
                for number in run.holes
                for stop in stops_of(holes[number], run.bit_mm)
            )
        )

    @cached_property
    def xy_mm(self) -> np.ndarray:
        """Places of the stops, (M, 2), design frame."""
        return np.array([s.xy_mm for s in self.stops], dtype=np.float64).reshape(-1, 2)

    @cached_property
    def by_hole(self) -> dict[int, tuple[int, ...]]:
        """Hole number -> rows of its stops."""
        rows: dict[int, list[int]] = {}
        for row, stop in enumerate(self.stops):
            rows.setdefault(stop.hole, []).append(row)
        return {hole: tuple(found) for hole, found in rows.items()}

    @cached_property
    def bits_mm(self) -> tuple[float, ...]:
        """The bits in the order of their first use."""
        return tuple(dict.fromkeys(stop.bit_mm for stop in self.stops))

    def to_json(self) -> list:
        """A list that `from_json` reads, for the journal: resuming needs no new plan."""
        return [[s.hole, *s.xy_mm, s.bit_mm, s.part, s.parts] for s in self.stops]

    @classmethod
    def from_json(cls, rows: list) -> Work:
        return cls(tuple(Stop(int(h), (x, y), b, int(p), int(n)) for h, x, y, b, p, n in rows))
