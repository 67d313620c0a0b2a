from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drillaid.design.model import Design, Hole
from drillaid.guidance.order import plan_order, written_travel_mm
from drillaid.guidance.route import route, travel_mm

places = st.lists(
    st.tuples(st.integers(-50, 50), st.integers(-50, 50)).map(lambda p: (p[0] * 1.27, p[1] * 1.27)),
    min_size=1,
    max_size=7,
)


def design_of(xy, drill=0.8) -> Design:
    return Design("test", tuple(Hole(i + 1, x, y, drill) for i, (x, y) in enumerate(xy)))


def shortest_by_trying_all(xy, start=None) -> float:
    return min(travel_mm(xy, p, start_mm=start) for p in itertools.permutations(range(len(xy))))


# The tie break moves each point by up to 0.01 mm on each axis, so a route may be
# longer than the best by 2 * 0.0142 mm a leg; the solver's grid adds less.
def slack_mm(legs: int) -> float:
    return 0.04 * legs


@settings(max_examples=40, deadline=None)
@given(places, st.none() | st.tuples(st.floats(-90, 90), st.floats(-90, 90)))
def test_small_routes_are_the_best_of_all_permutations(xy, start):
    path = route(xy, start_mm=start)
    assert sorted(path) == list(range(len(xy)))
    best = shortest_by_trying_all(xy, start)
    assert travel_mm(xy, path, start_mm=start) <= best + slack_mm(len(xy))


def test_no_points_no_route():
    assert route([]) == []
    assert travel_mm([], []) == 0.0
    assert plan_order(design_of([]), []).to_json()["runs"] == []


def test_points_that_are_no_numbers_are_refused():
    with pytest.raises(ValueError, match="finite"):
        route([(0, 0), (np.nan, 1)])


def test_holes_in_the_same_place_stay_neighbours():
    rng = np.random.default_rng(2)
    xy = rng.uniform(0, 80, (30, 2))
    twice = np.vstack([xy, xy])
    path = route(twice)
    assert sorted(path) == list(range(60))
    steps = [abs(a - b) for a, b in zip(path, path[1:], strict=False)]
    assert steps.count(30) == 30


def test_all_in_one_place():
    assert sorted(route([(3.0, 4.0)] * 40)) == list(range(40))


def test_very_many_holes_are_still_ordered(monkeypatch):
    # A lower limit stands in for the real one of 2500: the cut is the same.
    monkeypatch.setattr("drillaid.guidance.route._MOST_AT_ONCE", 60)
    xy = np.random.default_rng(6).uniform(0, 100, (200, 2))
    path = route(xy, start_mm=(0.0, 0.0), budget_s=0.1)
    assert sorted(path) == list(range(200))
    # 0.7124 sqrt(n A) is the length of the best tour through many random points
    # (Beardwood, Halton, Hammersley 1959; the constant from memory).
    assert travel_mm(xy, path) < 1.5 * 0.7124 * np.sqrt(200 * 100 * 100)


def test_every_hole_once_and_one_run_for_each_bit():
    rng = np.random.default_rng(3)
    xy = rng.integers(0, 40, (70, 2)) * 2.54
    bits = rng.choice([0.8, 1.0, 3.2], 70)
    order = plan_order(design_of(xy), bits, budget_s=0.2)
    assert [run.bit_mm for run in order.runs] == [0.8, 1.0, 3.2]
    assert sorted(order.holes) == list(range(1, 71))
    for run in order.runs:
        assert {bits[n - 1] for n in run.holes} == {run.bit_mm}


def test_travel_is_what_the_hand_goes_and_shorter_than_the_file():
    rng = np.random.default_rng(4)
    xy = rng.integers(0, 40, (80, 2)) * 2.54
    bits = rng.choice([0.8, 1.0], 80)
    order = plan_order(design_of(xy), bits, start_mm=(-5.0, 0.0), budget_s=0.2)
    rows = [n - 1 for n in order.holes]
    assert order.travel_mm == pytest.approx(travel_mm(xy, rows, start_mm=(-5.0, 0.0)))
    for run in order.runs:
        assert run.travel_mm == pytest.approx(travel_mm(xy, [n - 1 for n in run.holes]))
    assert order.travel_mm < 0.4 * written_travel_mm(design_of(xy), bits)


def test_the_way_begins_at_the_start_given():
    xy = [(x * 2.54, 0.0) for x in range(30)]
    order = plan_order(design_of(xy), [0.8] * 30, start_mm=(90.0, 5.0))
    assert order.holes == tuple(range(30, 0, -1))


def test_a_run_begins_near_the_end_of_the_one_before():
    left = [(x * 2.54, 0.0) for x in range(8)]
    right = [(x * 2.54, 2.54) for x in range(8)]
    order = plan_order(design_of(left + right), [0.8] * 8 + [1.0] * 8)
    assert order.holes == (*range(1, 9), *range(16, 8, -1))


def test_bits_in_the_order_asked_for():
    order = plan_order(
        design_of([(0, 0), (9, 0), (5, 5)]), [0.8, 1.0, 1.3], bit_sequence=[1.3, 9.9]
    )
    assert [run.bit_mm for run in order.runs] == [1.3, 0.8, 1.0]


def test_the_same_board_gives_the_same_order():
    # Rows on a grid are full of ties: without the tie break this fails.
    rows = [(x * 2.54, y * 7.62) for y in range(6) for x in range(16)]
    design = design_of(rows)
    orders = {plan_order(design, [0.8] * 96, budget_s=0.4).holes for _ in range(4)}
    assert len(orders) == 1
