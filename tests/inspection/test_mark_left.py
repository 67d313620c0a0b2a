"""Etched centre marks that are still there, on simulated boards of which half is drilled."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.true_placement import true_placement

from drillaid.geometry import Affine
from drillaid.inspection.holes import Seen
from drillaid.inspection.mark_left import MarksLeft, mark_sized, marks_left
from drillaid.inspection.measure import _is_mark, looked_at, measure_holes
from drillaid.inspection.state import Look as PadLook
from drillaid.simulation.bench import Light, SimulatedBench
from drillaid.simulation.board import SimulatedBoard
from drillaid.simulation.bore_looks import BenchHabits
from drillaid.simulation.conditions import ordinary
from drillaid.simulation.designs import random_design
from drillaid.simulation.look import Look
from drillaid.simulation.rigs import nominal_rig


def bench_of(marks_mm: float, seed: int) -> tuple[SimulatedBench, np.ndarray]:
    """(bench, (N,) bool which holes are drilled), 0.06 mm a pixel."""
    design = random_design(seed, 40)
    board = SimulatedBoard(design, Look(centre_marks_mm=marks_mm), seed=seed, px_per_mm=20.0)
    rig = nominal_rig(1920, 1080, 0.06, 0.05, 1.0, seed=seed)
    bench = SimulatedBench(board, rig, light=Light(gradient=0.3), seed=seed,
                           habits=BenchHabits.clean(seed))  # fmt: skip
    bench.pose = Affine.from_parts(rotation_rad=0.4)
    rng = np.random.default_rng(seed)
    drilled = rng.random(len(design.holes)) < 0.5
    for hole, done in zip(design.holes, drilled, strict=True):
        if done:
            board.drill(np.add(hole.xy_mm, rng.normal(0, 0.06, 2)), hole.drill_mm)
    return bench, drilled


def left(bench, design=None) -> np.ndarray:
    design = bench.board.design if design is None else design
    picture, place = bench.render(), true_placement(bench)
    board, _, _ = looked_at(picture, design, place, bench.rig, 1.6, design.drill_mm)
    got = marks_left(picture, design, board, "bottom", design.drill_mm)
    return np.zeros(len(design.holes), bool) if got is None else got.plain


@pytest.mark.parametrize("seed", [31, 40])
def test_marks_are_seen_where_nothing_was_drilled_and_nowhere_else(seed):
    bench, drilled = bench_of(0.4, seed)
    found = left(bench)
    assert not (found & drilled).any()
    owed = ~drilled & np.array([land is not None for land in bench.board.design.lands])
    # Where the land is narrow the bare board beside it comes into the comparison as well.
    assert (found & owed).sum() >= 0.3 * owed.sum() > 3


def test_without_marks_or_without_the_copper_nothing_is_said():
    bench, _ = bench_of(0.0, 31)
    assert not left(bench).any()
    marked, _ = bench_of(0.4, 31)
    assert not left(marked, replace(marked.board.design, copper={})).any()


def test_a_pad_with_its_mark_is_never_called_drilled():
    bench, drilled = bench_of(0.45, 40)
    design = bench.board.design
    found = measure_holes(bench.render(), design, true_placement(bench), bench.rig, face="bottom")
    for each, done in zip(found, drilled, strict=True):
        if not done:
            assert each.state != "drilled", each
    told = [each for each in found if "centre mark" in each.reason]
    assert all(each.state == "undrilled" and each.certainty > 0.98 for each in told)


def test_holes_as_bright_as_green_resist_are_not_called_untouched():
    """White laminate, green resist, brown and grey holes: little but colour tells them apart."""
    design = random_design(8615)
    board = SimulatedBoard(design, Look("resist", "white", resist_tint=(30, 96, 74)), seed=8615,
                           px_per_mm=20.0)  # fmt: skip
    bench = SimulatedBench(board, nominal_rig(1920, 1080, 0.06, 0.05, 1.0, seed=8615), seed=8615)
    drilled = np.random.default_rng(1).random(len(design.holes)) < 0.6
    for hole, done in zip(design.holes, drilled, strict=True):
        if done:
            board.drill(hole.xy_mm, hole.drill_mm)
    found = measure_holes(bench.render(), design, true_placement(bench), bench.rig, face="bottom")
    states = np.array([each.state for each in found])
    in_view = np.array(["picture" not in each.reason for each in found])
    assert (states[drilled & in_view] == "undrilled").mean() <= 0.01
    owed = ~drilled & in_view & np.array([land is not None for land in design.lands])
    assert (states[owed] == "undrilled").mean() >= 0.95


def test_what_is_as_wide_as_a_mark_though_its_bit_is_not():
    assert mark_sized(0.53, bit_mm=0.8)
    assert not mark_sized(0.53, bit_mm=0.55)  # as wide as its bit: that is the hole
    assert not mark_sized(0.72, bit_mm=0.8)  # wider than any mark


ONE, NONE = np.array([True]), np.array([False])
BLACK = PadLook(0.3, 0.0, 0.9, 1.0, strange=1.0, amid=1.0)  # a plain hole
GREY = PadLook(0.3, 0.0, 0.9, 1.0)


@pytest.mark.parametrize("marks, state, sure, look, diameter_mm, covered, is_mark", [
    (MarksLeft(NONE, ONE, True), "drilled", 0.97, GREY, 0.53, 0.0, True),
    (MarksLeft(NONE, ONE, True), "hidden", 1.0, GREY, 0.53, 0.0, True),
    (MarksLeft(NONE, ONE, True), "hidden", 1.0, GREY, 0.53, 0.5, False),  # a hand is over it
    (MarksLeft(NONE, ONE, True), "drilled", 0.97, BLACK, 0.53, 0.0, True),
    (MarksLeft(NONE, NONE, True), "drilled", 0.97, GREY, 0.53, 0.0, False),
    # Where no other pad has a mark this one has none either: a hole of another bit,
    (MarksLeft(NONE, ONE, False), "drilled", 0.97, GREY, 0.53, 0.0, False),
    # or in bare board, of which a mark is made too; unless the networks doubt the hole.
    (MarksLeft(ONE, ONE, False), "drilled", 1.0, GREY, 0.83, 0.0, False),
    (MarksLeft(ONE, ONE, False), "drilled", 0.95, GREY, 0.83, 0.0, True),
    (MarksLeft(ONE, ONE, False), "drilled", 0.95, BLACK, 0.83, 0.0, False),
    (MarksLeft(ONE, ONE, True), "drilled", 1.0, GREY, 0.83, 0.0, True),
])  # fmt: skip
def test_what_is_taken_for_a_mark(marks, state, sure, look, diameter_mm, covered, is_mark):
    seen = Seen(np.zeros(2), diameter_mm / 2, np.eye(3), 0.7, look, np.zeros(1))
    assert _is_mark(marks, 0, state, sure, seen, np.array([0.6, 0.4, covered]), 0.8) is is_mark


@pytest.mark.parametrize("seed", [9015, 9640])
def test_large_marks_in_brown_copper_are_no_holes(seed):
    """In brown board, which the networks take for holes; and in a pour, where nobody has seen
    what the laminate looks like by itself."""
    bench = ordinary(seed)
    design = bench.board.design
    found = measure_holes(bench.render(), design, true_placement(bench), bench.rig, face=bench.board.face)
    assert [each.hole for each in found if each.state == "drilled"] == []
