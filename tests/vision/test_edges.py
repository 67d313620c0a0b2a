from __future__ import annotations

import numpy as np
import pytest
from support.drawn_shapes import Figure, disc, picture

from drillaid.vision.channel import noise_of
from drillaid.vision.edges import edge_threshold, find_edges


@pytest.mark.parametrize("turn_deg", [0, 17, 45, 68, 90, 131])
def test_points_lie_on_a_straight_edge_and_point_to_the_bright_side(turn_deg):
    rng = np.random.default_rng(1)
    turn = np.radians(turn_deg)
    # A box so large that one of its sides crosses the picture through (80.3, 60.7).
    out = np.array([np.cos(turn), np.sin(turn)])
    at = np.array([80.3, 60.7]) + 200 * out
    grey = picture((120, 160), [Figure("box", tuple(at), (400, 900), turn)], rng, noise=2.0)
    edges = find_edges(grey, threshold=10.0)
    inner = ((edges.px > 6) & (edges.px < [153, 113])).all(axis=1)
    off = (edges.px[inner] - [80.3, 60.7]) @ out
    # Thinned to whole pixels: at worst half a diagonal, and a little for the noise.
    assert np.abs(off).max() < 0.95
    # On a diagonal the nearest whole pixels may all lie on one side.
    assert np.abs(off.mean()) < 0.4
    assert len(off) > 90
    angle = np.degrees(np.arccos(np.clip(edges.normal[inner] @ out, -1, 1)))
    assert np.median(angle) < 2.0
    assert angle.max() < 12.0
    # A step of 100 under blur 0.8 and smoothing 1.0: 100 / (sqrt(2 pi) 1.28) = 31 per px.
    assert np.median(edges.strength[inner]) == pytest.approx(29, rel=0.12)
    assert edges.shape == (120, 160)


def test_every_part_of_a_rim_is_found_once():
    grey = picture((80, 80), [disc(40.2, 39.6, 20)])
    edges = find_edges(grey, threshold=8.0)
    radius = np.hypot(*(edges.px - [40.2, 39.6]).T)
    assert np.abs(radius - 20).max() < 1.0
    # A digital circle has 8 r / sqrt(2) pixels where it is joined by corners, 8 r by sides.
    assert 8 * 20 / np.sqrt(2) <= len(edges) <= 8 * 20
    inwards = -(edges.px - [40.2, 39.6]) / radius[:, None]
    assert ((edges.normal * inwards).sum(axis=1) > 0.97).all()


@pytest.mark.parametrize("sigma", [1.0, 3.0, 6.0])
def test_flat_noise_has_almost_no_edges(sigma):
    grey = np.random.default_rng(2).normal(100, sigma, (300, 400)).astype(np.float32)
    edges = find_edges(grey, threshold=edge_threshold(grey, noise_of(grey)))
    # About one pixel of a thousand passes the threshold, fewer survive the thinning.
    assert len(edges) < 0.001 * grey.size


def test_weak_but_clear_edges_pass_the_threshold():
    rng = np.random.default_rng(3)
    grey = picture((120, 120), [disc(60, 60, 25)], rng, inside=112, outside=100, noise=1.5)
    edges = find_edges(grey, threshold=edge_threshold(grey, noise_of(grey)))
    near = np.abs(np.hypot(*(edges.px - 60).T) - 25) < 1.5
    assert near.sum() > 0.8 * 8 * 25 / np.sqrt(2)  # of a whole digital circle


def test_threshold_rises_with_the_noise_and_never_reaches_zero():
    grey = np.full((60, 60), 90, np.float32)
    assert edge_threshold(grey, 0.0) > 0
    assert edge_threshold(grey, 10.0) > 2 * edge_threshold(grey, 2.0) > 0


@pytest.mark.parametrize("shape", [(1, 1), (2, 3), (5, 5)])
def test_tiny_pictures_have_none(shape):
    edges = find_edges(np.full(shape, 50, np.float32), threshold=1.0)
    assert len(edges) == 0
    assert edges.px.shape == (0, 2) and edges.normal.shape == (0, 2)


def test_strong_edges_are_not_clipped_the_wrong_way_round():
    # Full black to full white: the 16-bit derivatives are at their limit.
    grey = np.zeros((40, 40), np.float32)
    grey[:, 20:] = 255
    edges = find_edges(grey, threshold=5.0, smooth_px=0.0)
    assert len(edges) > 30
    assert (edges.normal[:, 0] > 0.99).all()
