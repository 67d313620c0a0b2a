"""Drilled holes as drawn: the rim where it was bored, and every kind told from the others."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drillaid.simulation.bench import Light, Optics, SimulatedBench, nominal_rig
from drillaid.simulation.board import SimulatedBoard
from drillaid.simulation.bore_looks import KINDS, BenchHabits
from drillaid.simulation.conditions import ordinary
from drillaid.simulation.designs import random_design
from drillaid.simulation.look import Look


def _bench(kind: str) -> SimulatedBench:
    design = random_design(3, 30)
    board = SimulatedBoard(design, Look(tone=0.0, scratches=0), seed=2)
    bench = SimulatedBench(
        board, nominal_rig(), light=Light(gradient=0.0, patchy=0.0, ambient_shine=0.0),
        optics=Optics(blur_px=0.5, noise=0.0, vignette=0.0), clutter=0,
        habits=BenchHabits.only(kind, 4), seed=2,
    )  # fmt: skip
    for hole in design.holes:
        board.drill(hole.xy_mm, hole.drill_mm)
    return bench


@pytest.mark.parametrize("kind", KINDS)
def test_a_bench_of_one_kind_has_that_kind_only(kind):
    bench = _bench(kind)
    assert set(bench.bore_kinds()) == {kind}


def test_benches_have_habits_and_all_kinds_are_met():
    kinds = []
    for seed in range(12):
        habits = BenchHabits.drawn(seed)
        assert habits.shares.min() > 0.0
        kinds += [habits.look(0.5, np.random.default_rng([seed, j])).kind for j in range(20)]
    assert {kinds.count(k) > 5 for k in KINDS} == {True}


def test_bright_and_dark_bores_are_what_they_say():
    middles = {}
    for kind in ("dark", "bright"):
        bench = _bench(kind)
        picture, px = bench.render(), bench.true_pixels()[bench.in_view(6)]
        middles[kind] = np.median([picture[int(round(v)), int(round(u))].mean() for u, v in px])
    assert middles["bright"] > middles["dark"] + 25


def test_the_look_of_a_bore_does_not_hang_on_how_often_one_looks():
    bench = _bench("dusty")
    first, kinds = bench.render(), bench.bore_kinds()
    assert np.array_equal(bench.render(), first)
    assert bench.bore_kinds() == kinds


def test_what_stands_in_the_way_is_known():
    bench = ordinary(3)
    hidden = bench.occlusion()
    assert hidden.any() == bool(bench.occluders.bit)
    # a bit is thin: it hides less than a fiftieth of the picture
    assert hidden.mean() < 0.02


def test_a_lit_wall_is_as_bright_as_it_is_asked_to_be_and_the_rim_stays_where_it_is():
    """The side of the wall that faces the lamp may be as bright as the board's face."""
    bench = _bench("dark")
    bench.habits = replace(BenchHabits.only("dark", 4), walls=(0.5, 0.2))
    dull = bench.render().astype(float)
    bench.habits = replace(BenchHabits.only("dark", 4), walls=(1.8, 1.0))
    lit = bench.render().astype(float)
    px, scale = bench.true_pixels(), bench.rig.px_per_mm(bench.thickness_mm)
    v, u = np.mgrid[: lit.shape[0], : lit.shape[1]]
    brighter = []
    for hole, (x, y) in zip(bench.board.design.holes, px, strict=True):
        away = np.hypot(u - x, v - y) / scale
        inside = away < hole.drill_mm / 2 - 0.05
        brighter.append((lit - dull)[inside].max())
    assert np.median(brighter) > 40


def test_copper_is_torn_beside_the_rim_and_nowhere_else():
    bench = _bench("dark")
    whole = bench.render().astype(float)
    torn = replace(BenchHabits.only("dark", 4).look(0.5, np.random.default_rng(0)), torn=(0.5, 0.6, 0.4))

    class Torn(BenchHabits):
        def look(self, radius_mm, rng):
            made = super().look(radius_mm, rng)
            return replace(made, torn=torn.torn)

    plain = BenchHabits.only("dark", 4)
    bench.habits = Torn(plain.shares, plain.spoil, plain.sun_rad)
    changed = np.abs(bench.render().astype(float) - whole).max(axis=2) > 12
    px, scale = bench.true_pixels(), bench.rig.px_per_mm(bench.thickness_mm)
    v, u = np.nonzero(changed)
    away = np.min(np.hypot(u[:, None] - px[:, 0], v[:, None] - px[:, 1]), axis=1) / scale
    assert changed.sum() > 200 and away.max() < 2.2
