from __future__ import annotations

import cv2
import numpy as np
import pytest
from support.drawn_shapes import coverage, disc, scattered

from drillaid.vision.channel import (
    SOFT_PX,
    colours_apart,
    grey_of,
    mixture_weights,
    noise_of,
    second_mixture,
    unlike,
    weights_between,
)

SHAPE = (240, 320)


def coloured(rng, copper, board, noise=3.0) -> tuple[np.ndarray, np.ndarray]:
    """A picture of pads (BGR) and the share of each pixel that is copper."""
    places = scattered(rng, 9, 6, 32)
    share = coverage(SHAPE, [disc(u, v, 9) for u, v in places])
    image = share[..., None] * np.array(copper, float) + (1 - share[..., None]) * np.array(board, float)
    image = image + rng.normal(0, noise, image.shape)
    return np.clip(np.rint(image), 0, 255).astype(np.uint8), share


def contrast(grey: np.ndarray, share: np.ndarray) -> float:
    """Between copper and board, in sigmas of a pixel."""
    inside, outside = grey[share == 1], grey[share == 0]
    return abs(inside.mean() - outside.mean()) / np.sqrt((inside.var() + outside.var()) / 2)


PLAIN = np.array([0.114, 0.587, 0.299])  # what a grey camera would make of B, G, R


@pytest.mark.parametrize(
    ("copper", "board"),
    [
        ((90, 140, 210), (60, 110, 120)),  # bright copper
        ((150, 120, 155), (60, 140, 150)),  # as bright as the board, another colour
        ((90, 105, 140), (140, 105, 120)),
    ],
)
def test_edges_stand_out_at_least_as_well_as_in_plain_grey(copper, board):
    image, share = coloured(np.random.default_rng(1), copper, board)
    own = contrast(grey_of(image).image, share)
    plain = contrast(image @ PLAIN, share)
    # Of what the best of all mixtures gives (Fisher: sqrt of the sum over channels).
    best = np.linalg.norm(np.subtract(copper, board)) / 3.0
    assert own > 0.85 * best
    assert own > plain


def test_copper_that_only_differs_in_colour_is_told():
    image, share = coloured(np.random.default_rng(2), (150, 120, 120), (90, 120, 143))
    assert contrast(image @ PLAIN, share) < 1.5
    assert contrast(grey_of(image).image, share) > 15


def test_weights_are_a_mixture():
    image, _ = coloured(np.random.default_rng(3), (90, 140, 210), (60, 110, 120))
    weights = mixture_weights(image)
    assert weights.shape == (3,)
    assert np.abs(weights).sum() == pytest.approx(1.0)
    assert weights.sum() >= 0
    given = grey_of(image, np.array([0.2, 0.5, 0.3]))
    assert given.image == pytest.approx(image @ np.array([0.2, 0.5, 0.3]), abs=1e-3)


def test_a_grey_picture_is_taken_as_it_is():
    grey = np.random.default_rng(4).integers(0, 255, (30, 40)).astype(np.uint8)
    got = grey_of(grey)
    assert got.image.dtype == np.float32
    assert np.array_equal(got.image, grey)


@pytest.mark.parametrize("sigma", [1.0, 3.0, 8.0])
def test_noise_is_measured_on_a_flat_picture(sigma):
    grey = np.random.default_rng(5).normal(120, sigma, (300, 300)).astype(np.float32)
    # 9 e4 pixels, neighbours correlated: the median is good to about 1 %.
    assert noise_of(grey) == pytest.approx(sigma, rel=0.03)


def test_noise_is_not_taken_in_by_edges():
    rng = np.random.default_rng(6)
    image, _ = coloured(rng, (90, 140, 210), (60, 110, 120), noise=0.0)
    noisy = image[..., 2].astype(np.float32) + rng.normal(0, 3.0, SHAPE).astype(np.float32)
    assert noise_of(noisy) == pytest.approx(3.0, rel=0.2)


def test_noise_never_claims_to_be_nil():
    assert noise_of(np.full((50, 50), 80, np.float32)) == pytest.approx(0.3)
    assert grey_of(np.full((50, 50, 3), 80, np.uint8)).noise > 0


def test_noise_of_a_large_picture_is_the_same():
    grey = np.random.default_rng(7).normal(120, 4.0, (2100, 2000)).astype(np.float32)
    assert noise_of(grey) == pytest.approx(4.0, rel=0.03)


def test_two_sets_of_colours_are_told_apart_copper_brighter():
    rng = np.random.default_rng(8)
    # Light varies much along grey; copper and board differ across it only.
    light = rng.normal(0, 30, (400, 1)) * np.ones(3)
    copper = np.array([110, 120, 150]) + light + rng.normal(0, 2, (400, 3))
    bare = np.array([135, 120, 130]) + light[::-1] + rng.normal(0, 2, (400, 3))
    weights = weights_between(copper, bare)
    assert np.abs(weights).sum() == pytest.approx(1.0)
    a, b = copper @ weights, bare @ weights
    assert a.mean() > b.mean()
    assert (a.mean() - b.mean()) / np.hypot(a.std(), b.std()) > 4


def test_colours_are_as_far_apart_as_they_were_drawn():
    """Six of the sigmas of their difference, along one colour: 36, whatever the others scatter."""
    rng = np.random.default_rng(9)
    scatter, shift = np.array([5.0, 40.0, 20.0]), np.array([6 * 5 * np.sqrt(2), 0.0, 0.0])
    some, others = (rng.normal(0, 1, (4000, 3)) * scatter for _ in range(2))
    assert colours_apart(some + shift, others) == pytest.approx(36, rel=0.12)
    assert colours_apart(some, others) < 0.1


def test_equal_colours_still_give_weights():
    same = np.full((50, 3), 100.0)
    assert weights_between(same, same) == pytest.approx([1 / 3] * 3)


def test_the_second_mixture_is_blind_to_the_first():
    image, _ = coloured(np.random.default_rng(9), (90, 140, 210), (60, 110, 120))
    first = np.array([0.2, 0.5, 0.3])
    second = second_mixture(cv2.GaussianBlur(image, (0, 0), SOFT_PX), first)
    assert first @ second == pytest.approx(0.0, abs=1e-9)
    assert np.abs(second).sum() == pytest.approx(1.0)


def mirroring(rng) -> tuple[np.ndarray, np.ndarray]:
    """Copper of the board's hue, brighter than the board on the left and darker on the right."""
    image, share = coloured(rng, (170, 175, 172), (120, 125, 122))
    dark, _ = coloured(rng, (170, 175, 172), (120, 125, 122), noise=0.0)
    right = np.arange(SHAPE[1]) > SHAPE[1] // 2
    away = dark.astype(float) - (120, 125, 122)
    noise = image.astype(float) - dark
    image = np.where(right[:, None], (120, 125, 122) - 0.8 * away, dark) + noise
    return np.clip(np.rint(image), 0, 255).astype(np.uint8), share


def test_unlike_bare_board_is_copper_that_mirrors_light_or_shadow():
    rng = np.random.default_rng(21)
    image, share = mirroring(rng)
    copper, bare = image[share > 0.99].astype(float), image[share < 0.01].astype(float)
    # Of the places taken for bare a third is something else.
    bare[: len(bare) // 3] = rng.uniform(0, 255, (len(bare) // 3, 3))
    grey = unlike(image, bare, copper)
    left = np.arange(SHAPE[1]) <= SHAPE[1] // 2
    for half in (left, ~left):
        inside, outside = (grey[:, half][part[:, half]] for part in (share > 0.99, share < 0.01))
        assert 70 < np.median(inside) <= 130
        assert np.median(outside) < 0.3 * np.median(inside)
        assert np.quantile(outside, 0.95) < np.quantile(inside, 0.05)


def test_no_mixture_of_colours_tells_such_copper_from_the_board():
    image, share = mirroring(np.random.default_rng(21))
    copper, bare = image[share > 0.99].astype(float), image[share < 0.01].astype(float)
    grey = grey_of(image, weights_between(copper, bare)).image
    inside, outside = grey[share > 0.99], grey[share < 0.01]
    assert not np.quantile(outside, 0.95) < np.quantile(inside, 0.05)
