"""The network's probabilities and what is made of them, apart and together."""

from __future__ import annotations

import numpy as np
import pytest

from drillaid.inspection.posterior import (
    COARSE,
    FINE,
    GROWN,
    MIDDLING,
    OTHER_BIT,
    Grid,
    locate,
    rim_along,
)
from drillaid.inspection.rays import ALONG, BINS, RAYS, STEP_MM, TURNS, Network

WIDE = Grid(0.15, 0.015, tuple(np.linspace(-0.0375, 0.0375, 9)))


def _odds(circle, bit_radius, *, sigma_mm=0.02, seen=None) -> np.ndarray:
    """What a network would say that sees one rim to sigma_mm on the rays of `seen`."""
    along = rim_along(np.array([circle]), bit_radius)[0]
    weight = np.exp(-0.5 * ((ALONG - along[:, None]) / sigma_mm) ** 2) + 1e-9
    weight /= weight.sum(axis=1, keepdims=True)
    seen = np.ones(RAYS, bool) if seen is None else seen
    odds = np.where(seen[:, None], 0.98 * weight, 0.02 / BINS)
    none = np.where(seen, 0.02, 0.98)
    return np.log(np.column_stack([odds, none])).astype(np.float32)[None]


def test_rays_meet_a_circle_where_they_should():
    # by hand: from (0, 0) towards +x a circle about (0.1, 0) of radius 0.5 is met at 0.6
    along = rim_along(np.array([[0.1, 0.0, 0.5]]), 0.5)[0] + GROWN * 0.5
    assert along[0] == pytest.approx(0.6)
    assert along[RAYS // 2] == pytest.approx(0.4)
    points = TURNS * along[:, None]
    assert np.hypot(*(points - [0.1, 0.0]).T) == pytest.approx(0.5)


def test_the_circle_is_the_one_the_rays_agree_on():
    rng = np.random.default_rng(0)
    for _ in range(20):
        truth = np.array([*rng.uniform(-0.03, 0.03, 2), 0.5 * rng.uniform(1.0, 1.06)])
        got = locate(_odds(truth, 0.5), np.zeros((1, 2)), 0.5, FINE)
        # a fifth of a ray's step: 48 rays of 0.02 mm each, and the grid's own step of 0.011
        assert np.hypot(*(got.xy_mm[0] - truth[:2])) < 0.2 * STEP_MM
        assert abs(got.radius_mm[0] - truth[2]) < 0.2 * STEP_MM
        assert got.support[0] > 0.9


@pytest.mark.parametrize("wider_mm", [-0.15, -0.1, 0.1, 0.15, 0.25])
def test_a_hole_that_another_bit_made_is_found_as_wide_as_it_is(wider_mm):
    truth = np.array([0.03, -0.02, 0.5 * GROWN + wider_mm])
    odds = _odds(truth, 0.5)
    radius = None
    for grid in (COARSE, MIDDLING, FINE):
        got = locate(odds, np.zeros((1, 2)), 0.5, grid, radius)
        radius = got.radius_mm
    assert radius[0] == pytest.approx(truth[2], abs=0.2 * STEP_MM)
    assert np.hypot(*(got.xy_mm[0] - truth[:2])) < 0.2 * STEP_MM


def test_where_few_rays_see_the_rim_its_size_is_hardly_known():
    """It is the bit's for want of a better one, and bits of 0.2 mm more or less are about."""
    whole, third = (
        locate(_odds([0.0, 0.0, 0.5 * GROWN], 0.5, seen=np.arange(RAYS) < count), np.zeros((1, 2)), 0.5)
        for count in (RAYS, RAYS // 3)
    )
    stated = [2 * np.sqrt(c.covariance[0, 2, 2]) for c in (whole, third)]  # of the diameter
    assert stated[0] < 0.05 and stated[1] > 0.2


def test_faint_rims_make_no_hole_of_another_size():
    """What little rays say of a small circle is less than what the bit's size says."""
    odds = _odds([0.0, 0.0, 0.5 * GROWN - 0.1], 0.5, seen=np.arange(RAYS) < 3)
    got = locate(odds, np.zeros((1, 2)), 0.5, COARSE)
    assert abs(got.radius_mm[0] - 0.5 * GROWN) < 0.03
    assert OTHER_BIT < 0.05


def test_circles_of_several_sizes_are_told_together_and_apart_alike():
    truths = np.array([[0.01, 0.0, 0.4], [0.0, 0.02, 0.515], [-0.02, 0.0, 0.62]])
    odds = np.concatenate([_odds(t, 0.5) for t in truths])
    whole = locate(odds, np.zeros((3, 2)), 0.5, FINE, truths[:, 2])
    for k in range(3):
        alone = locate(odds[k : k + 1], np.zeros((1, 2)), 0.5, FINE, truths[k : k + 1, 2])
        assert whole.xy_mm[k] == pytest.approx(alone.xy_mm[0])
        assert whole.covariance[k] == pytest.approx(alone.covariance[0])


def test_a_rim_seen_on_one_side_only_is_the_more_doubtful():
    truth = np.array([0.02, 0.0, 0.5 * GROWN])
    right = _odds(truth, 0.5, seen=TURNS[:, 0] > 0.6)
    got = locate(right, np.zeros((1, 2)), 0.5, WIDE)
    whole = locate(_odds(truth, 0.5), np.zeros((1, 2)), 0.5, WIDE)
    assert np.trace(got.covariance[0]) > 2 * np.trace(whole.covariance[0])
    assert got.support[0] < 0.5


def test_rays_that_lie_together_outvote_nobody():
    truth = np.array([0.0, 0.0, 0.5 * GROWN])
    odds = _odds(truth, 0.5)
    false = _odds([0.06, 0.06, 0.5 * GROWN], 0.5)
    odds[0, :8] = false[0, :8]
    got = locate(odds, np.zeros((1, 2)), 0.5, FINE)
    # the plain mean of the rays' answers would lie 0.018 off
    assert np.hypot(*got.xy_mm[0]) < 0.017


def test_the_network_gives_probabilities():
    network = Network.kept()
    features = np.random.default_rng(0).normal(size=(3, RAYS, network.layers[0][0].shape[0]))
    odds = network.log_odds(features.astype(np.float32))
    assert odds.shape == (3, RAYS, BINS + 1)
    assert np.exp(odds).sum(axis=2) == pytest.approx(1.0, abs=1e-4)
