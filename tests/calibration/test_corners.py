"""The fit of one corner against corners drawn by an independent, finely sampled picture."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from calibration.corners import refine_corners


def drawn(angle, blur, shift, noise, seed, side=41, fine=16):
    """A corner at (side // 2) + shift: sampled fine x fine times a pixel, then averaged."""
    place = (np.arange(side * fine) + 0.5) / fine - 0.5
    v, u = np.meshgrid(place, place, indexing="ij")
    u, v = u - side // 2 - shift[0], v - side // 2 - shift[1]
    c, s = np.cos(angle), np.sin(angle)
    paper = ((c * u + s * v) > 0) == ((-s * u + c * v) > 0)
    image = np.where(paper, 200.0, 40.0).reshape(side, fine, side, fine).mean(axis=(1, 3))
    image = cv2.GaussianBlur(image, (0, 0), blur)
    image += np.random.default_rng(seed).normal(0, noise, image.shape)
    return np.clip(np.rint(image), 0, 255).astype(np.uint8)


def fitted(image, angle, guess, half=6.0):
    along = np.array([[np.cos(angle), np.sin(angle)]])
    across = np.array([[-np.sin(angle), np.cos(angle)]])
    return refine_corners(image, [guess], along, across, half)


@pytest.mark.parametrize("angle", [0.0, 0.3, 0.785, 2.0])
@pytest.mark.parametrize("blur", [0.7, 1.5])
def test_corner_is_found_without_bias(angle, blur):
    shift = (0.3125, -0.1875)  # between two samples, also along an axis
    image = drawn(angle, blur, shift, 0.0, 0)
    found = fitted(image, angle + 0.08, (21, 19))  # a guess 1 px off and turned by 5 degrees
    assert found.good[0]
    np.testing.assert_allclose(found.px[0], [20.3125, 19.8125], atol=0.02)
    assert found.blur_px[0] == pytest.approx(np.hypot(blur, 0.29), abs=0.12)  # 0.29: the pixel
    assert found.contrast[0] == pytest.approx(80, rel=0.08)


def test_stated_sigma_is_the_scatter_under_noise():
    offs, sigmas = [], []
    for seed in range(60):
        found = fitted(drawn(0.3, 1.0, (0.1, 0.2), 8.0, seed, fine=8), 0.3, (20.3, 20.0))
        offs.append(found.px[0] - [20.1, 20.2])
        sigmas.append(found.sigma_px[0])
    scatter = np.sqrt(np.mean(np.square(offs)))
    assert scatter == pytest.approx(np.sqrt(np.mean(np.square(sigmas))), rel=0.25)


def test_what_is_no_corner_is_not_good():
    flat = np.full((41, 41), 120, np.uint8)
    edge = flat.copy()
    edge[:, 20:] = 220
    noise = np.random.default_rng(1).integers(0, 255, (41, 41)).astype(np.uint8)
    for image in (flat, edge, noise):
        assert not fitted(image, 0.0, (20, 20)).good[0]


def test_outside_and_too_far_are_not_good():
    image = drawn(0.3, 0.8, (0, 0), 1.0, 0)
    assert not fitted(image, 0.3, (2, 20)).good[0]
    assert not fitted(image, 0.3, (200, 20)).good[0]
    along, across = np.array([[0.955, 0.296]]), np.array([[-0.296, 0.955]])
    assert not refine_corners(image, [[22.5, 20]], along, across, 6.0, reach_px=1.0).good[0]


def test_ink_and_paper_changed_over_turns_the_sign():
    image = drawn(0.3, 0.8, (0, 0), 1.0, 0)
    assert fitted(image, 0.3, (20, 20)).contrast[0] > 0
    assert fitted(255 - image, 0.3, (20, 20)).contrast[0] < 0
