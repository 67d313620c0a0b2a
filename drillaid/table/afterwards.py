"""Measures drilled holes once they have come out from under the spindle, which hides them."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np

from drillaid.guidance.work import Stop as Place
from drillaid.table.eye import Look

# What hangs over the hole just drilled: half a drill chuck, seen a little aslant; common
# practice, no source.
HIDDEN_MM = 8.0

Measure = Callable[[Look, int, float], dict]


class Afterwards:
    """measure: (look, hole, bit) -> what was measured, for an event's detail"""

    def __init__(self, measure: Measure, spindle_mm) -> None:
        self._measure = measure
        self._spindle = np.asarray(spindle_mm, dtype=np.float64).reshape(2)
        self._waiting: list[Place] = []

    @property
    def waiting(self) -> bool:
        return bool(self._waiting)

    def drilled(self, place: Place) -> None:
        """To be measured as soon as it can be seen. Of a slot, its last place stands for all."""
        if place.part == place.parts:
            self._waiting.append(place)

    def seen(self, look: Look, *, last: bool = False) -> Iterator[tuple[int, dict]]:
        """(hole, detail) of those that are out in the open now; last: whatever hides them."""
        still = []
        for place in self._waiting:
            far = float(np.hypot(*(look.bench_mm(place.xy_mm) - self._spindle)))
            if far > HIDDEN_MM or last:
                yield place.hole, self._measure(look, place.hole, place.bit_mm)
            else:
                still.append(place)
        self._waiting = still
