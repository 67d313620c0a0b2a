"""How long ways take, and orders of holes that take least time: against exact answers."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from drillaid.design.model import Design, Hole
from drillaid.geometry import Affine
from drillaid.guidance.route import route
from drillaid.table.timing import Pace, plan_for_table

PACE = Pace((20.0, 10.0, 5.0), (100.0, 50.0, 20.0))


# Constant acceleration, by hand: 1 mm at 100 mm/s2: 2 sqrt(1/100); 40 mm at 20 mm/s: 2 + 0.2 s.
@pytest.mark.parametrize(
    ("dx", "dy", "seconds"),
    [(1, 0, 0.2), (40, 0, 2.2), (0, 40, 4.2), (40, 40, 4.2), (0, 0, 0), (-40, 0, 2.2)],
)
def test_a_way_is_as_slow_as_its_slowest_axis(dx, dy, seconds):
    assert float(PACE.seconds(np.array(dx), np.array(dy))) == pytest.approx(seconds)


@pytest.mark.parametrize("seed", range(6))
def test_the_quickest_order_of_few_holes_is_the_exact_one(seed):
    xy = np.random.default_rng(seed).uniform(0, 60, (7, 2))

    def seconds(path) -> float:
        return float(PACE.seconds(*np.diff(xy[list(path)], axis=0).T).sum())

    best = min(seconds((0, *rest)) for rest in itertools.permutations(range(1, 7)))
    path = route(xy, start_mm=xy[0], cost=PACE.seconds)
    # ties are broken by moving points up to 0.01 mm, so a little may be lost
    assert seconds(path) <= best * 1.002


def design_of(xy) -> Design:
    holes = tuple(Hole(n, float(x), float(y), 0.8) for n, (x, y) in enumerate(xy, 1))
    return Design("invented", holes, lands=(None,) * len(holes))


def test_bits_one_after_the_other_small_ones_first_from_where_the_table_is():
    xy = [(0, 0), (1, 0), (30, 0), (31, 0)]
    order = plan_for_table(
        design_of(xy), [0.8, 1.2, 0.8, 1.2], Affine.identity(), PACE, (29.0, 0.0)
    )
    assert [run.bit_mm for run in order.runs] == [0.8, 1.2]
    assert order.holes == (3, 1, 2, 4)


def test_a_thousand_holes_within_a_second_of_planning():
    xy = np.random.default_rng(1).uniform(0, 100, (1000, 2))
    order = plan_for_table(design_of(xy), [0.8] * 1000, Affine.identity(), PACE)
    assert sorted(order.holes) == list(range(1, 1001))
    # A square of side L takes about 0.7124 sqrt(n) L, from memory (Beardwood, Halton,
    # Hammersley 1959); with 4 % at the border and 1 % for the solver. By time, not length.
    assert order.travel_mm <= 1.2 * 0.7124 * np.sqrt(1000) * 100
