"""Benches drawn at random keep the limits they state."""

import math

import numpy as np
import pytest

from drillaid.simulation.conditions import (
    bench_for,
    hard,
    ordinary,
    unfamiliar,
    without_board,
)
from drillaid.simulation.designs import random_design
from drillaid.simulation.look import copper_bgr, laminate_bgr


def tilt_deg(rig):
    return math.degrees(math.acos(-rig.rotation[2, 2]))


@pytest.mark.parametrize("seed", [0, 1])
def test_ordinary_benches(seed):
    bench = ordinary(seed)
    assert tilt_deg(bench.rig) <= 6.001
    assert 1 / bench.rig.px_per_mm() == pytest.approx(0.06, rel=0.02)
    assert abs(bench.board.look.etch_mm) <= 0.08
    assert np.abs(np.array(bench.truth.scale) - 1).max() < 0.0045
    assert bench.in_view().all()
    image = bench.render()
    assert image.shape == (1080, 1920, 3) and image.dtype == np.uint8
    assert 20 < image.mean() < 235


@pytest.mark.parametrize("seed", [1, 6])
def test_hard_benches(seed):
    bench = hard(seed)
    assert tilt_deg(bench.rig) <= 18.001
    assert bench.in_view().mean() >= 0.5
    assert bench.covered().mean() <= 0.3
    assert abs(bench.board.look.etch_mm) <= 0.15
    assert bench.render().std() > 5


def test_unfamiliar_benches_are_of_any_colour_and_copper_still_shows():
    floors, walls = [], []
    for seed in range(4):
        bench = unfamiliar(seed)
        assert tilt_deg(bench.rig) <= 8.001 and bench.in_view().all()
        look = bench.board.look
        assert np.abs(copper_bgr(look) - laminate_bgr(look)).max() > 35
        floors.append(bench.habits.spoil.mean())
        walls.append(bench.habits.walls[0])
    assert np.ptp(floors) > 60 and np.ptp(walls) > 0.5


def test_an_empty_bench_is_not_an_empty_picture():
    bench = without_board(3)
    assert bench.board is None
    assert bench.render().std() > 5


def test_the_same_seed_gives_the_same_bench():
    a, b = ordinary(5), ordinary(5)
    assert np.array_equal(a.truth.matrix, b.truth.matrix)
    assert np.array_equal(a.render(), b.render())


def test_any_design_gets_a_bench_that_shows_all_of_it():
    design = random_design(5, 300)
    assert max(design.outline.size_mm) > 130
    bench = bench_for(design, 5, size=(960, 540), face="top")
    assert bench.in_view().all()
    assert not bench.truth.mirrored
    assert bench.render().shape == (540, 960, 3)
