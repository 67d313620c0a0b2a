"""Benches that must be refused show what they say they show."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from drillaid.simulation import mishaps
from drillaid.simulation.bench import SimulatedBench
from drillaid.simulation.conditions import bench_for
from drillaid.simulation.designs import random_design

SEED = 702


def small() -> SimulatedBench:
    return bench_for(random_design(30, 40), SEED, size=(960, 540))


@pytest.fixture(scope="module")
def picture():
    return small().render()


def detail(image) -> float:
    """How much changes from pixel to pixel."""
    return float(np.abs(cv2.Laplacian(cv2.GaussianBlur(image, (0, 0), 1.2), cv2.CV_32F)).mean())


def test_the_bare_side_has_the_boards_outline_and_no_copper():
    bench = mishaps.bare_side(SEED, small())
    assert not bench.board.copper.any()
    assert bench.board.face == "top"
    assert bench.render().shape == (540, 960, 3)


def test_out_of_focus_loses_detail(picture):
    assert detail(mishaps.defocused(SEED, small()).render()) < 0.8 * detail(picture)


def test_a_shaken_picture_loses_it_along_one_direction():
    bench = mishaps.shaken(SEED, small())
    assert 15 <= np.hypot(*bench.optics.motion_px) <= 45


def test_water_displaces_and_keeps_the_board_where_it_was(picture):
    bench = mishaps.under_water(SEED, small())
    assert np.array_equal(bench.truth.matrix, small().truth.matrix)
    assert np.abs(bench.render().astype(int) - picture).mean() > 5


def test_too_little_light_and_too_much():
    assert mishaps.dim(SEED, small()).render().mean() < 25
    assert (mishaps.dazzled(SEED, small()).render() > 250).mean() > 0.5


def test_a_hand_covers_and_a_push_takes_out_of_view():
    assert mishaps.held(SEED, small()).covered().mean() > 0.1
    assert mishaps.barely_in_view(SEED, small()).in_view(10).mean() <= 0.12
