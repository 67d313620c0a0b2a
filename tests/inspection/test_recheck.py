"""A board that lies there again, held against its record: on a simulated bench, holes known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.small_board import MM_PER_PX, SIZE, small_design

from drillaid.inspection.agreement import agreement
from drillaid.inspection.recheck import AGAINST_RECORD, LOOKS, Recheck
from drillaid.inspection.result import DRILLED, HIDDEN, UNDRILLED, HoleFinding
from drillaid.registration.register import register_picture
from drillaid.registration.result import NOT_FOUND, Registration
from drillaid.simulation.bore_looks import BenchHabits
from drillaid.simulation.conditions import bench_for
from drillaid.simulation.rigs import nominal_rig

RIG = nominal_rig(*SIZE, MM_PER_PX, 0.05, 1.0, seed=4)
NOT_THERE = Registration(NOT_FOUND, "no board")


@pytest.fixture(scope="module")
def seen():
    """(picture, where the board lies, numbers of the holes drilled in it)"""
    bench = bench_for(small_design(), 7, rig=RIG)
    bench.habits = BenchHabits.clean(7)
    design = bench.board.design
    with_lands = [h.number for h, land in zip(design.holes, design.lands, strict=True) if land]
    drilled = frozenset(with_lands[::2])
    for hole in design.holes:
        if hole.number in drilled:
            bench.board.drill(hole.xy_mm, hole.drill_mm)
    picture = bench.render()
    found = register_picture(picture, design, rig=RIG)
    assert found.ok
    return picture, found, drilled


def recheck() -> Recheck:
    design = small_design()
    return Recheck(design, design.drill_mm, lambda: (RIG, 1.6))


def test_a_record_that_is_right_agrees(seen):
    picture, found, drilled = seen
    agreed = recheck().look(picture, found, drilled)
    assert agreed.ok and agreed.agreeing == len(drilled) and not agreed.unseen
    assert "agree" in agreed.sentence


def test_holes_on_one_side_only_are_named(seen):
    picture, found, drilled = seen
    lost, more = min(drilled), next(n for n in range(1, 30) if n not in drilled)
    agreed = recheck().look(picture, found, (drilled - {lost}) | {more})
    assert (agreed.missing, agreed.extra) == ((more,), (lost,))
    assert f"not there: hole {more}" in agreed.sentence
    assert f"not recorded: hole {lost}" in agreed.sentence


def test_another_board_of_the_same_design_is_taken_for_one(seen):
    picture, found, drilled = seen
    others = frozenset(range(1, len(small_design().holes) + 1)) - drilled
    agreed = recheck().look(picture, found, others)
    assert agreed.elsewhere and "not look like the board of the record" in agreed.sentence


def test_nothing_is_said_before_the_board_is_found_and_the_camera_known(seen):
    picture, found, drilled = seen
    asked = recheck()
    assert asked.look(picture, NOT_THERE, drilled) is None
    design = small_design()
    assert Recheck(design, design.drill_mm, lambda: None).look(picture, found, drilled) is None
    assert asked.look(picture, found, drilled).ok


def test_what_a_hand_hides_is_looked_for_in_the_next_pictures(seen):
    picture, found, drilled = seen
    hand = picture.copy()
    where = found.placement.pixels[:, 0]
    hand[:, : int(np.quantile(where, 0.85)) + 12] = (120, 160, 215)
    asked = recheck()
    assert asked.look(hand, found, drilled) is None
    agreed = asked.look(picture, found, drilled)
    assert agreed.ok and agreed.agreeing == len(drilled)
    asked = recheck()
    answers = [asked.look(hand, found, drilled) for _ in range(LOOKS)]
    assert answers[:-1] == [None] * (LOOKS - 1)
    # what is hidden is told as not seen, never as missing
    assert not answers[-1].missing and len(answers[-1].unseen) > len(drilled) / 2
    assert "not to be seen" in replace(answers[-1], extra=()).sentence


def test_what_speaks_against_the_record_must_be_surer_than_what_agrees():
    found = [
        HoleFinding(1, DRILLED, certainty=0.75),  # recorded: any look will do
        HoleFinding(2, DRILLED, certainty=0.97),  # not recorded
        HoleFinding(3, DRILLED, certainty=0.99),
        HoleFinding(4, UNDRILLED, certainty=0.97),  # recorded
        HoleFinding(5, UNDRILLED, certainty=0.99),
        HoleFinding(6, HIDDEN),
    ]
    agreed = agreement({1, 4, 5, 6}, found, AGAINST_RECORD)
    assert (agreed.extra, agreed.missing) == ((3,), (5,))
    assert agreed.unseen == (4, 6) and agreed.agreeing == 1
    every = agreement({1, 4, 5, 6}, found)
    assert (every.extra, every.missing) == ((2, 3), (4, 5))


@pytest.mark.parametrize("seed", [3, 228])
def test_a_doubtful_pad_in_a_coarse_picture_is_no_reason_to_doubt_the_record(seed):
    """At 0.12 mm a pixel some untouched pads look drilled; on board 228 one does, doubtfully."""
    bench = bench_for(small_design(), seed, size=(960, 540))
    design = bench.board.design
    drilled = frozenset(range(1, 21, 3))
    for hole in design.holes:
        if hole.number in drilled:
            bench.board.drill(hole.xy_mm, hole.drill_mm)
    picture = bench.render()
    found = register_picture(picture, design, rig=bench.rig)
    assert found.ok
    asked = Recheck(design, design.drill_mm, lambda: (bench.rig, bench.thickness_mm))
    agreed = asked.look(picture, found, drilled)
    assert agreed.ok and agreed.agreeing > 0.8 * len(drilled)
    other = next(iter(drilled))
    agreed = asked.look(picture, found, drilled - {other})
    assert agreed.extra == (other,)
