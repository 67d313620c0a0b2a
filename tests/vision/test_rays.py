from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr
from support.drawn_shapes import disc, picture

from drillaid.vision.rays import opposite, profiles, slopes, steepest

RADIUS, RAYS = 12.0, 8
RADII = np.linspace(4.0, 20.0, 24)[None, :]


def edges(at: np.ndarray, blur: float, rng=None, noise=0.0, tilt=0.0) -> np.ndarray:
    """(1, R, S) bright inside, falling at `at` (R,) by 100 levels; `tilt`: how much brighter
    each ray is as a whole."""
    values = 80 + 100 * ndtr((at[None, :, None] - RADII[:, None, :]) / blur)
    values = values + np.broadcast_to(tilt, at.shape)[None, :, None]
    if rng is not None:
        values = values + rng.normal(0, noise, values.shape)
    return values.astype(np.float32)


def test_slopes_of_a_straight_line_are_its_slope_everywhere():
    matrices = slopes(15, np.array([0.7, 2.5]))
    line = (3.0 + 1.5 * np.arange(15)).astype(np.float32)
    for matrix in matrices:
        # Over two samples; the ends as well.
        assert line @ matrix == pytest.approx(np.full(15, 3.0), abs=1e-4)
        assert np.full(15, 90, np.float32) @ matrix == pytest.approx(np.zeros(15), abs=1e-3)


@pytest.mark.parametrize("blur", [0.8, 2.0])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_the_steepest_place_is_the_edge(blur, side):
    at = RADIUS + np.linspace(-1.5, 1.5, RAYS)
    values = edges(at, blur)
    values = values if side > 0 else 255 - values
    width = np.array([1.3 * blur / (RADII[0, 1] - RADII[0, 0])])
    reach, clear, step = steepest(values, RADII, np.array([RADIUS]), np.array([side]), 1.0, width)
    assert clear.all() and step[0] > 0
    # Towards the profile's ends soft edges are read too far out, alike on opposite rays.
    assert reach[0] == pytest.approx(at, abs=0.06 if blur < 1 else 0.3)
    assert reach[0] + reach[0][::-1] == pytest.approx(np.full(RAYS, 2 * RADIUS), abs=0.02)
    assert not steepest(
        values, RADII, np.array([RADIUS]), np.array([-side]), 1.0, width
    )[1].any()  # fmt: skip


def read(values, at, blur):
    """Differences and blur of edges roughly known."""
    clear = np.ones((1, RAYS), dtype=bool)
    return opposite(values, RADII, at[None, :], clear, blur)


@pytest.mark.parametrize("told", [0.7, 1.0, 1.4])
@pytest.mark.parametrize("blur", [0.9, 2.0])
def test_half_the_difference_of_opposite_edges_is_read_whatever_blur_is_told(blur, told):
    off = blur * np.array([0.15, -0.1, 0.0, 0.03])
    at = RADIUS + np.concatenate([off, -off])
    got, own = read(edges(at, blur, tilt=np.linspace(-6, 6, RAYS)), at, told * blur)
    # The slope between samples is a little flatter than the edge: too much by a sixth at
    # most, and the next round has only that left.
    assert got[0] == pytest.approx(1.07 * off, abs=0.1 * 0.15 * blur)
    assert own.shape == (1,)


@pytest.mark.parametrize("blur", [1.0, 1.6, 2.5])
def test_the_blur_is_told_from_the_edges(blur):
    at = np.full(RAYS, RADIUS)
    values = edges(at, blur, np.random.default_rng(1), 2.0)
    told = 0.8
    for _ in range(3):
        # A pair's four edges, each of some noise: within a tenth.
        clear = np.ones((1, RAYS), dtype=bool)
        clear = np.repeat(clear, 2, axis=1)
        twice = np.concatenate([values[:, :4], values[:, :4], values[:, 4:], values[:, 4:]], axis=1)
        _, own = opposite(twice, RADII, np.full((1, 2 * RAYS), RADIUS), clear, told)
        told = float(own[0])
    assert told == pytest.approx(blur, rel=0.1)


def test_the_blur_of_too_few_edges_is_not_told():
    values = edges(np.full(RAYS, RADIUS), 1.0)
    _, own = opposite(values, RADII, np.full((1, RAYS), RADIUS), np.ones((1, RAYS), bool), 1.0)
    assert np.isnan(own[0])


@pytest.mark.parametrize("blur", [1.0, 2.0])
def test_the_difference_is_read_nearly_as_well_as_noise_allows(blur):
    rng = np.random.default_rng(2)
    noise, at = 4.0, np.full(RAYS, RADIUS)
    got = np.concatenate([read(edges(at, blur, rng, noise), at, blur)[0][0] for _ in range(400)])
    pace = RADII[0, 1] - RADII[0, 0]
    # Cramer and Rao for one sampled edge of known levels: sd^2 = noise^2 pace 2 sqrt(pi)
    # blur / step^2 (standard theory, see tests/published/test_localisation_bounds.py);
    # half the difference of two has half of it.
    bound = noise / 100 * np.sqrt(pace * np.sqrt(np.pi) * blur)
    assert 0.95 < got.std() / bound < 1.6
    assert abs(got.mean()) < 4 * got.std() / np.sqrt(len(got))


def test_profiles_reach_farther_out_and_in_where_the_picture_is_soft():
    grey = picture((60, 60), [disc(30, 30, 8)], blur_px=1.0)
    frame = np.array([[30.0, 30.0]]), np.eye(2)[None]
    spans = []
    for blur in (0.8, 2.2):
        values, radii, out = profiles(grey, frame, np.zeros((1, 2)), np.array([8.0]), 1.0, 16, blur)
        assert values.shape == (1, 16, radii.shape[1]) and out.shape == (16, 2)
        assert values[0, :, 0] == pytest.approx(np.full(16, 180), abs=1)
        spans.append((radii[0, 0], radii[0, -1]))
    assert spans[1][0] < spans[0][0] and spans[1][1] > spans[0][1]
