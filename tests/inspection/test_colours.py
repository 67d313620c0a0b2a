"""Colours of pads against those they were drawn with, and the states they lead to."""

from __future__ import annotations

import numpy as np
import pytest

from drillaid.inspection.colours import learn_colours, strangeness
from drillaid.inspection.state import Look, judge

COPPER, LAMINATE = np.array([70.0, 110.0, 170.0]), np.array([110.0, 160.0, 170.0])


def _board(rng, count=40, fall=0.4):
    places = rng.uniform(0, 80, (count, 2))
    light = 1 + fall * (places[:, 0] / 80 - 0.5)
    copper = [COPPER * g + rng.normal(0, 5, (60, 3)) for g in light]
    laminate = [LAMINATE * g + rng.normal(0, 3, (60, 3)) for g in light]
    return places, light, copper, laminate


def test_colours_follow_the_light_over_the_board():
    rng = np.random.default_rng(1)
    places, light, copper, laminate = _board(rng)
    laminate[3] = np.zeros((0, 3))  # nothing known there: the board's promise
    got = learn_colours(places, copper, laminate)
    assert np.abs(got.copper - COPPER * light[:, None]).max() < 3
    assert np.abs(got.laminate - LAMINATE * light[:, None]).max() < 6
    # the median of the root of a mean of three squares: 5 sqrt(2.366 / 3)
    assert got.texture == pytest.approx(4.44, abs=1.2)


def test_a_covered_pad_keeps_the_boards_promise():
    rng = np.random.default_rng(2)
    places, light, copper, laminate = _board(rng)
    copper[7] = np.full((60, 3), 20.0) + rng.normal(0, 2, (60, 3))
    got = learn_colours(places, copper, laminate)
    assert np.abs(got.copper[7] - COPPER * light[7]).max() < 6


def test_half_a_hole_in_the_ring_does_not_change_its_copper():
    rng = np.random.default_rng(3)
    places, light, copper, laminate = _board(rng)
    copper[5][:25] = 15.0
    got = learn_colours(places, copper, laminate)
    assert np.abs(got.copper[5] - COPPER * light[5]).max() < 4


def test_strangeness_is_a_half_at_four_textures():
    image = np.full((1, 2, 2, 3), 100.0, np.float32)
    image[0, 0, 0] = 120.0
    got = strangeness(image, np.full((1, 3), 100.0), np.array([5.0]))
    assert got[0, 0, 0] == pytest.approx(0.5)
    assert got[0, 1, 1] == 0


PAD = Look(0.9, 0.0, 0.9, 1.0)


@pytest.mark.parametrize("odds, look, support, state, words", [
    ((0.9, 0.1, 0.0), Look(0.0, 0.0, 0.0, 1.0), 0.9, "drilled", ""),
    ((0.8, 0.2, 0.0), Look(0.0, 0.0, 0.0, 1.0), 0.9, "hidden", "cannot be told"),
    # black in the midst of copper, whatever the network makes of its size
    ((0.1, 0.9, 0.0), Look(0.6, 0.0, 0.9, 1.0, strange=1.0, amid=0.95), 0.6, "drilled", ""),
    ((0.1, 0.9, 0.0), Look(0.6, 0.0, 0.9, 1.0, strange=0.2, amid=0.95), 0.6, "undrilled", "untouched"),
    ((0.1, 0.9, 0.0), PAD, 0.1, "undrilled", "untouched"),
    ((0.1, 0.9, 0.0), Look(0.0, 0.9, 0.0, 1.0), 0.1, "undrilled", "no copper"),  # it came off
    ((0.1, 0.9, 0.0), Look(0.4, 0.1, 0.9, 1.0), 0.1, "undrilled", "no edge of a hole"),
    ((0.1, 0.1, 0.8), PAD, 0.1, "hidden", "neither"),  # a finger the colour of copper
    ((0.54, 0.36, 0.1), PAD, 0.5, "hidden", "cannot be told"),
    ((0.9, 0.1, 0.0), PAD, 0.1, "hidden", "not clear enough"),  # a hole, but nobody knows where
    ((0.9, 0.1, 0.0), Look(0.0, 0.0, 0.0, 0.6), 0.9, "hidden", "edge of the picture"),
])  # fmt: skip
def test_what_is_said_of_a_place(odds, look, support, state, words):
    got, reason = judge(np.array(odds), look, support)
    assert got == state
    assert words in reason and bool(reason) == (state != "drilled")
