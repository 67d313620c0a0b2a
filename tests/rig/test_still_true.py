"""Marks found, and what they say of a knocked arm, a mark unstuck and a hand in the way."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from support.rig_shop import shop

from drillaid.errors import RigError
from drillaid.rig import marks
from drillaid.rig.mark_finding import find_marks, read_mark
from drillaid.rig.still_true import (
    MARK_MOVED,
    MOVED,
    NOT_JUDGED,
    TRUE,
    MarkSet,
    RigWatch,
    StoredMark,
    marks_of,
    stored_marks,
)  # fmt: skip
from drillaid.simulation.prints import knocked


def grey(image):
    return cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)


@pytest.fixture(scope="module")
def place():
    """(bench, its rig as calibrated with the marks stored)."""
    bench = shop(2, marks=5)
    seen = find_marks(grey(bench.render()), bench.rig)
    stored = MarkSet(
        0.1, tuple(StoredMark(m.number, bench.rig.to_bench(m.px, 0.1), 0.005) for m in seen)
    )
    assert [m.number for m in seen] == [1, 2, 3, 4, 5]
    return bench, replace(bench.rig, extra={"marks": stored.to_data()})


@pytest.fixture
def bench(place):
    bench, rig = place
    before = bench.prints
    yield bench
    bench.lay(*before)
    bench.knock(replace(rig, extra={}))


def test_corners_of_marks_against_truth(place):
    bench, _ = place
    seen = find_marks(grey(bench.render()), bench.rig)
    assert len(seen) >= 4
    for mark in seen:
        sheet = bench.prints[mark.number - 1]
        true = bench.rig.to_pixels(sheet.to_bench(marks.corners_mm() + marks.SIDE_MM / 2), 0.1)
        off = np.abs(mark.px - true)
        assert off.max() < 0.25 and off.max() < 4 * mark.sigma_px
        assert np.abs((mark.px - true).mean(axis=0)).max() < 0.06


def test_a_mark_is_read_where_it_should_be_and_nowhere_else(place):
    bench, _ = place
    image = grey(bench.render())
    true = find_marks(image, bench.rig)[0].px
    near = read_mark(image, 1, true + 25, search=True, lens=bench.rig)
    np.testing.assert_allclose(near.px, true, atol=0.1)
    assert read_mark(image, 2, true, search=True) is None  # another number
    assert read_mark(image, 1, true + 400) is None


CASES = {
    "as it was": ((0, 0, 0), (0, 0, 0), TRUE),
    "settled a little": ((0.05, 0.0, 0), (0, 0, 0), TRUE),
    "pushed": ((0.18, 0.05, 0), (0, 0, 0), MOVED),
    "tilted": ((0, 0, 0), (0.003, 0, 0), MOVED),
    "turned": ((0, 0, 0), (0, 0, 0.006), MOVED),
    "far off": ((4, 6, 1), (0.02, 0, 0.05), MOVED),
}


@pytest.mark.parametrize("case", CASES)
def test_a_knock_is_told_from_none(place, bench, case):
    shift, turn, state = CASES[case]
    rig = place[1]
    bench.knock(knocked(bench.rig, shift, turn))
    verdict = RigWatch.of(rig).judge_now(bench.render())
    assert verdict.state == state, verdict
    if case == "pushed":
        assert verdict.moved_mm == pytest.approx(np.hypot(0.18, 0.05), abs=0.02)
        assert "do not drill" in verdict.message and "calibrate bench" in verdict.message


def test_a_mark_that_came_unstuck_is_told_from_a_knock(place, bench):
    first = bench.prints[1]
    moved = replace(first, middle_mm=(first.middle_mm[0], first.middle_mm[1] - 0.6))
    bench.lay(bench.prints[0], moved, *bench.prints[2:])
    watch = RigWatch.of(place[1])
    verdicts = [watch.look(bench.render(), 3.0 * k) for k in range(8)]
    verdict = next(v for v in verdicts if v is not None and v.state == MARK_MOVED)
    assert verdict.strays == (2,) and verdict.holds and "unstuck" in verdict.message


def test_a_hand_over_marks_is_not_a_knock(place, bench):
    image = bench.render().copy()
    image[:, :700] = (120, 150, 200)  # three of five are covered
    verdict = RigWatch.of(place[1]).judge_now(image)
    assert verdict.state == TRUE
    image[:] = (120, 150, 200)
    assert RigWatch.of(place[1]).judge_now(image).state == NOT_JUDGED


def test_a_verdict_is_said_once_when_it_has_been_seen_twice(place, bench):
    watch = RigWatch.of(place[1])
    quiet = bench.render()
    assert [watch.look(quiet, t) is None for t in (0.0, 0.03)] == [True, False]
    assert watch.look(quiet, 2.5) is None
    bench.knock(knocked(bench.rig, (0.4, 0, 0)))
    wrong = bench.render()
    assert watch.look(wrong, 3.0) is None  # not due yet
    assert watch.look(wrong, 5.0) is None  # once is not enough
    assert watch.look(wrong, 5.03).state == MOVED
    assert watch.look(wrong, 8.0) is None  # said already
    assert watch.look(quiet, 11.0) is None
    assert watch.look(quiet, 11.03).state == TRUE


def test_stored_marks_survive_the_file_and_damage_is_named(place):
    rig = place[1]
    again = marks_of(stored_marks(rig).to_data())
    np.testing.assert_allclose(again.marks[0].corners_mm, stored_marks(rig).marks[0].corners_mm)
    assert stored_marks(replace(rig, extra={})) is None
    for damage in ({"height_mm": 0.1}, {"height_mm": 0.1, "seen": [{"number": 3}]},
                   {"height_mm": float("nan"), "seen": []}):  # fmt: skip
        with pytest.raises(RigError, match="marks.*calibrate bench again"):
            marks_of(damage)
