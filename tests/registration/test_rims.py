from __future__ import annotations

import numpy as np
import pytest
from support.drawn_copper import board, photograph

from drillaid.geometry import Affine
from drillaid.registration.rims import Rings, find_rings, rims, ring_evidence, ring_model
from drillaid.vision.channel import grey_of
from drillaid.vision.eye import Eye

SHAPE, RATIO = (560, 760), 15.0
VIEW = Affine([[-RATIO, 0.6, 720.3], [-0.6, -RATIO, 540.6]])


def looked_at(drawn, etch_mm=0.0, seed=1, **look):
    grey = grey_of(photograph(drawn, VIEW, SHAPE, np.random.default_rng(seed), etch_mm=etch_mm, **look))
    return Eye(grey.image, grey.noise)


@pytest.mark.parametrize("etch_mm", [0.0, 0.08])
@pytest.mark.parametrize("bright", [True, False])
def test_lands_are_seen_with_their_size_and_whether_they_are_bright(etch_mm, bright):
    drawn = board(5, tracks=12)
    look = {} if bright else {"copper": (40, 45, 50), "bare": (110, 150, 160)}
    eye = looked_at(drawn, etch_mm, **look)
    got = find_rings(eye, VIEW, drawn.design.xy_mm, drawn.design.drill_mm, RATIO, slack_mm=0.08)
    assert got.polarity == (1.0 if bright else -1.0)
    assert got.in_view.all()
    there = got.share >= 0.5
    assert there.mean() > 0.8
    # Radii are tried 0.09 mm apart and a rim may be 0.08 mm off each.
    assert np.abs(got.radius_mm - (drawn.land_mm - etch_mm))[there].max() < 0.13


def test_holes_show_rims_and_places_beside_them_do_not():
    drawn = board(5, tracks=12)
    eye = looked_at(drawn)
    evidence, _ = ring_evidence(eye, VIEW, drawn.design.xy_mm, drawn.design.drill_mm, RATIO)
    assert evidence.convincing
    assert evidence.chance < 0.15
    beside = drawn.design.xy_mm + [1.7, 0.9]
    wrong, _ = ring_evidence(eye, VIEW, beside, drawn.design.drill_mm, RATIO)
    assert not wrong.convincing


def test_grain_shows_rims_everywhere_and_so_convinces_nobody():
    rng = np.random.default_rng(3)
    noise = rng.normal(120, 25, SHAPE).astype(np.float32)
    drawn = board(5)
    evidence, _ = ring_evidence(
        Eye(noise, 5.0), VIEW, drawn.design.xy_mm, drawn.design.drill_mm, RATIO
    )
    assert not evidence.convincing


def test_only_rims_that_are_there_become_edges():
    rings = Rings(np.array([0.9, 0.2, 0.9]), np.ones(3), np.array([True, True, False]), 1.0)
    model = ring_model(np.array([[0.0, 0.0], [5.0, 0.0], [10.0, 0.0]]), rings)
    assert len(model) > 10
    assert np.hypot(*model.xy.T) == pytest.approx(1.0)


def test_rims_point_inwards():
    holes = np.array([[3.0, 4.0], [10.0, 4.0]])
    model = rims(holes, np.array([0.8, 1.2]))
    for place, radius in zip(holes, (0.8, 1.2), strict=True):
        mine = np.hypot(*(model.xy - place).T) < 2
        away = model.xy[mine] - place
        assert np.hypot(*away.T) == pytest.approx(radius)
        assert (model.normal[mine] * away).sum(axis=1) == pytest.approx(-radius)
    assert len(model) == int(2 * np.pi * 0.8 / 0.3) + int(2 * np.pi * 1.2 / 0.3)
