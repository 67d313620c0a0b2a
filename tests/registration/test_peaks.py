"""The highest places of a correlation, and which of them are one."""

from __future__ import annotations

import numpy as np

from drillaid.geometry import Affine
from drillaid.registration.peaks import Peak, distinct, highest_of, unwrapped

XY = np.random.default_rng(8).uniform(0, 40, (30, 2))


def test_of_the_same_place_only_the_best_is_kept():
    here, near, far = (Affine.from_parts(offset=(x, 0)) for x in (0.0, 1.0, 9.0))
    peaks = [Peak(here, 9.0, False), Peak(near, 8.0, False), Peak(near, 7.0, True), Peak(far, 6.0, False)]
    kept = distinct(peaks, XY, keep=8)
    assert [p.score for p in kept] == [9.0, 7.0, 6.0]
    assert len(distinct(peaks, XY, keep=2)) == 2


def test_the_highest_places_are_apart_and_counted_in_sigmas():
    plane = np.random.default_rng(9).normal(0, 1, (60, 80)).astype(np.float32)
    plane[20, 30], plane[21, 31], plane[50, 5] = 30.0, 29.0, 20.0
    sigma = float(plane.std())
    (first, row, column), (second, *place) = highest_of(plane, 2, 3)
    assert (row, column) == (20, 30) and place == [50, 5]
    assert abs(first - 30 / sigma) < 1e-3 and abs(second - 20 / sigma) < 1e-3


def test_what_is_near_the_rim_reaches_round_it():
    plane = np.zeros((40, 40), np.float32)
    plane[0, 0], plane[39, 39], plane[20, 20] = 9.0, 8.0, 7.0
    assert [place for _, *place in highest_of(plane, 2, 2)] == [[0, 0], [20, 20]]


def test_a_wrapped_index_means_the_place_nearer_to_the_picture():
    assert [unwrapped(k, 100, 160) for k in (0, 99, 129, 130, 159)] == [0, 99, 129, -30, -1]
