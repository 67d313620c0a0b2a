from __future__ import annotations

import numpy as np
import pytest
from support.drawn_shapes import Figure, disc, picture, scattered

from drillaid.vision.discs import find_discs

SHAPE = (260, 340)


def nearest(found: np.ndarray, place, side: float) -> np.ndarray:
    """The candidate of that side closest to a place."""
    mine = found[found[:, 3] == side]
    return mine[np.hypot(*(mine[:, :2] - place).T).argmin()]


@pytest.mark.parametrize("radius", [3.2, 4.5, 6, 8, 11, 15, 22])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_pads_and_holes_of_all_sizes_are_found(radius, side):
    rng = np.random.default_rng(int(radius * 10))
    pitch = max(4 * radius, 16)
    places = scattered(rng, int(SHAPE[1] // pitch) - 1, int(SHAPE[0] // pitch) - 1, pitch)
    light = {"inside": 180, "outside": 80} if side > 0 else {"inside": 60, "outside": 160}
    grey = picture(SHAPE, [disc(u, v, radius) for u, v in places], rng, noise=3.0, **light)
    found = find_discs(grey, radius_px=(3.0, 30.0))
    # As many of the best as there are pads: all of the right kind.
    assert (found[: len(places), 3] == side).all()
    for place in places:
        # A place to start measuring from: within a fifth of the radius, or 1.2 px.
        near = np.hypot(*(found[:, :2] - place).T) < max(0.2 * radius, 1.2)
        row = found[near & (found[:, 3] == side)][0]
        # Radii are tried in steps of a fifth; the smallest also on the coarser level.
        assert 0.7 * radius < row[2] < (1.35 if radius > 4 else 2.0) * radius
        assert row[4] > (0.5 if radius > 4 else 0.35)
    away = np.hypot(*(found[:, None, :2] - places[None]).transpose(2, 0, 1)).min(axis=1)
    # The gaps between pads may look like something, one to a pad at the most.
    assert (away[found[:, 3] == side] > radius).sum() < 0.1 * len(places) + 3


@pytest.mark.parametrize(
    "figure",
    [
        Figure("box", (60.3, 50.2), (20, 20), 0.4),
        Figure("oblong", (60.3, 50.2), (26, 16), 1.0),
        Figure("disc", (60.3, 50.2), (22, 17), 0.3),  # a disc seen under 40 degrees
    ],
    ids=lambda f: f.kind,
)
def test_what_is_not_quite_round_is_found_as_well(figure):
    rng = np.random.default_rng(3)
    found = find_discs(picture((100, 120), [figure], rng, noise=3.0), radius_px=(3.0, 30.0))
    row = nearest(found, figure.at, 1.0)
    assert np.hypot(*(row[:2] - figure.at)) < 0.35 * min(figure.size) / 2
    assert row[4] > 0.35


def test_half_a_pad_is_enough():
    rng = np.random.default_rng(4)
    grey = picture((80, 80), [disc(40, 40, 12)], rng, noise=2.0)
    grey[:, :38] = 80 + rng.normal(0, 2, (80, 38))  # a finger of the board's brightness
    row = nearest(find_discs(grey, radius_px=(3.0, 30.0)), (40, 40), 1.0)
    assert np.hypot(*(row[:2] - 40)) < 2.4


@pytest.mark.parametrize("sigma", [1.0, 4.0])
def test_nothing_is_found_in_noise(sigma):
    grey = np.random.default_rng(5).normal(110, sigma, (300, 400)).astype(np.float32)
    assert len(find_discs(grey, radius_px=(3.0, 30.0))) == 0


def test_a_straight_edge_is_no_disc():
    rng = np.random.default_rng(6)
    grey = picture((120, 160), [Figure("box", (0, 60), (160, 400), 0.2)], rng, noise=2.0)
    found = find_discs(grey, radius_px=(3.0, 30.0))
    assert len(found) == 0 or found[:, 4].max() < 0.5


def test_best_come_first_and_no_more_than_asked():
    rng = np.random.default_rng(7)
    places = scattered(rng, 8, 6, 36)
    grey = picture(SHAPE, [disc(u, v, 8) for u, v in places], rng, noise=3.0)
    found = find_discs(grey, radius_px=(3.0, 30.0))
    assert (np.diff(found[:, 4]) <= 0).all()
    few = find_discs(grey, radius_px=(3.0, 30.0), limit=5)
    assert np.array_equal(few, found[:5])


def test_only_radii_that_are_wanted():
    rng = np.random.default_rng(8)
    grey = picture((100, 200), [disc(50, 50, 5), disc(140, 50, 24)], rng, noise=2.0)
    for low, high in ((3.5, 8.0), (18.0, 30.0)):
        found = find_discs(grey, radius_px=(low, high))
        assert len(found)
        assert (found[:, 2] >= 0.8 * low).all() and (found[:, 2] <= 1.2 * high).all()


@pytest.mark.parametrize("shape", [(1, 1), (10, 10), (23, 300)])
def test_pictures_too_small_for_anything(shape):
    assert find_discs(np.full(shape, 90, np.float32), radius_px=(3.0, 30.0)).shape == (0, 5)
