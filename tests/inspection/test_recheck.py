"""A board that lies there again, held against its record: on a simulated bench, holes known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.small_board import MM_PER_PX, SIZE, small_design

from drillaid.inspection.recheck import LOOKS, Recheck
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
