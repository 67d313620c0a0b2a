from __future__ import annotations

import numpy as np
import pytest
from support.drawn_copper import board, photograph

from drillaid.geometry import Affine
from drillaid.registration.probing import (
    AGREE_MM,
    Eye,
    Null,
    Shapes,
    decoys,
    probe,
    shapes_from,
    weigh_shapes,
)
from drillaid.vision.channel import grey_of

SHAPE, RATIO = (560, 760), 15.0
VIEW = Affine([[-RATIO, 0.6, 720.3], [-0.6, -RATIO, 540.6]])
BOARD = board(6, tracks=15)
HOLES = BOARD.design.xy_mm
TRUE = Shapes(np.array([0.85, 1.15]), np.array([1.0, 1.0]))


@pytest.fixture(scope="module")
def eye():
    grey = grey_of(photograph(BOARD, VIEW, SHAPE, np.random.default_rng(1)))
    return Eye(grey.image, grey.noise)


def test_the_pads_are_measured_where_they_are(eye):
    seen = probe(eye, VIEW, HOLES, TRUE, RATIO)
    assert eye.size_px == (760, 560)
    assert seen.in_view.all()
    assert seen.agreeing().mean() > 0.85
    ok = seen.agreeing()
    off_px = (seen.px - VIEW(HOLES))[ok]
    # A track leaves from most; 0.2 px are 0.013 mm.
    assert np.sqrt(np.median((off_px**2).sum(axis=1))) < 0.2
    assert 0.5 < np.sqrt(np.mean(seen.sigma_px[ok] ** 2) / np.mean(off_px**2)) < 2.5
    assert np.abs(seen.radius_mm[ok] - BOARD.land_mm[ok]).max() < 0.15
    assert seen.off_mm[ok] == pytest.approx(np.hypot(*off_px.T) / RATIO, abs=0.003)


def test_a_shifted_placement_is_told_how_far_it_is_off(eye):
    aside = VIEW @ Affine.from_parts(offset=(0.3, 0.0))
    seen = probe(eye, aside, HOLES, TRUE, RATIO)
    ok = seen.agreeing(0.5)
    assert ok.mean() > 0.7
    assert np.median(seen.off_mm[ok]) == pytest.approx(0.3, abs=0.02)
    assert not seen.agreeing(AGREE_MM).any() or seen.agreeing(AGREE_MM).mean() < 0.1


def test_holes_out_of_view_never_agree(eye):
    away = VIEW @ Affine.from_parts(offset=(30.0, 0.0))
    seen = probe(eye, away, HOLES, TRUE, RATIO)
    assert 0.1 < seen.in_view.mean() < 0.9
    assert not seen.agreeing()[~seen.in_view].any()


def test_decoys_keep_clear_of_every_hole():
    beside = decoys(HOLES)
    gap = np.hypot(*(beside[:, None] - HOLES[None]).transpose(2, 0, 1)).min(axis=1)
    assert gap.min() > 0.85
    assert len(beside) > 0.5 * len(HOLES)
    assert np.array_equal(beside, decoys(HOLES))


def test_shapes_that_tell_are_kept_and_the_rest_dropped(eye):
    offered = Shapes(np.array([0.4, 0.85, 1.15, 0.85]), np.array([-1.0, 1.0, 1.0, -1.0]))
    kept, null = weigh_shapes(eye, VIEW, HOLES, offered, RATIO)
    assert kept.radius_mm[0] == 0.85 and kept.side[0] == 1.0
    assert 0.4 not in kept.radius_mm and -1.0 not in kept.side
    assert null.places > 30
    assert 0 < null.chance(AGREE_MM) < 0.2
    assert null.telling[0] > 0.5


def test_on_a_picture_of_noise_no_shape_tells():
    noise = np.random.default_rng(2).normal(100, 3, SHAPE).astype(np.float32)
    kept, null = weigh_shapes(Eye(noise, 3.0), VIEW, HOLES, TRUE, RATIO)
    assert len(kept) >= 1
    assert (null.telling < 0.05).all()
    assert not probe(Eye(noise, 3.0), VIEW, HOLES, kept, RATIO).agreeing().any()


def test_chance_is_never_nil_and_grows_with_the_tolerance():
    null = Null(np.ones(1), np.array([0.05, 0.15, np.inf, np.inf, np.inf, np.inf, 0.3, np.inf]), 8)
    assert null.chance(0.01) == pytest.approx(1 / 10)  # rule of succession
    assert null.chance(0.1) == pytest.approx(2 / 10)
    assert null.chance(0.22) == pytest.approx(3 / 10)


def test_commonest_shapes_come_first():
    radius = np.array([0.8] * 10 + [0.82] * 5 + [0.3] * 4 + [1.5])
    side = np.array([1.0] * 15 + [-1.0] * 4 + [1.0])
    got = shapes_from(radius, side)
    assert got.radius_mm[:2] == pytest.approx([0.8, 0.3])
    assert got.side[:3].tolist() == [1.0, -1.0, 1.0]
    assert len(shapes_from(radius, side, most=2)) == 2


def test_without_sightings_there_is_still_something_to_look_for():
    got = shapes_from(np.zeros(0), np.zeros(0))
    assert set(got.side) == {1.0, -1.0}
