from __future__ import annotations

import numpy as np
import pytest
from support.drawn_shapes import Figure, coverage, disc, picture, plain, scattered

from drillaid.geometry import Affine
from drillaid.vision.contours import EdgeModel, edge_model_of, read_edges, thin_out

SHAPE = (200, 240)


def round_model(places, radius: float, count: int = 60) -> EdgeModel:
    """Rims of discs, normals inwards (from bare to copper)."""
    angle = np.arange(count) / count * 2 * np.pi
    out = np.column_stack([np.cos(angle), np.sin(angle)])
    xy = (np.asarray(places)[:, None, :] + radius * out).reshape(-1, 2)
    return EdgeModel(xy, np.tile(-out, (len(places), 1)))


def test_edges_of_a_mask_lie_on_the_rim_and_point_inwards():
    mask = np.rint(255 * coverage(SHAPE, [disc(100.3, 90.6, 40)])).astype(np.uint8)
    model = edge_model_of(mask, Affine.identity(), 1.0, spacing=3.0)
    away = model.xy - [100.3, 90.6]
    radius = np.hypot(*away.T)
    # A blur of 1.5 px moves the half-way place of a rim by s^2 / 2 r = 0.03 px.
    # One point by itself is as good as the slope of a small mask: a quarter of its pixel.
    assert np.abs(radius - 40).max() < 0.3
    assert abs(radius.mean() - 40) < 0.06
    inwards = -away / radius[:, None]
    assert ((inwards * model.normal).sum(axis=1) > 0.998).all()
    assert np.hypot(*model.normal.T) == pytest.approx(1.0)
    # One in each cell of 3 px along 2 pi 40 px of rim, cells cut at random.
    assert 2 * np.pi * 40 / 3 * 0.8 < len(model) < 2 * np.pi * 40 / 3 * 1.8


def test_edges_are_told_in_design_mm():
    mask = np.rint(255 * coverage(SHAPE, [Figure("box", (120, 100), (80, 40))])).astype(np.uint8)
    to_design = Affine([[0.05, 0, -6.0], [0, -0.05, 5.0]])  # rows run down, y up
    model = edge_model_of(mask, to_design, 20.0, spacing=0.4)
    # The box is 4 x 2 mm about (0, 0).
    side = np.abs(np.abs(model.xy[:, 0]) - 2.0) < 0.02
    top = np.abs(np.abs(model.xy[:, 1]) - 1.0) < 0.02
    assert (side | top).all() and side.sum() > 5 and top.sum() > 10
    flat = top & (np.abs(model.xy[:, 0]) < 1.7)
    assert (model.normal[flat, 1] * np.sign(model.xy[flat, 1]) < -0.99).all()


def test_edges_across_narrow_gaps_and_narrow_copper_are_told():
    mask = np.zeros(SHAPE, np.uint8)
    mask[40:160, 30:100] = 255  # two plates with a gap of 8 px between them
    mask[40:160, 108:170] = 255
    mask[40:160, 200:206] = 255  # and a line 6 px wide, far from them
    model = edge_model_of(mask, Affine.identity(), 1.0, spacing=2.0, narrow=12.0)
    u, v = model.xy.T
    level = (v > 60) & (v < 140)
    in_gap, on_line = level & (np.abs(u - 103.5) < 6), level & (np.abs(u - 202.5) < 6)
    other = level & ((np.abs(u - 29.5) < 2) | (np.abs(u - 169.5) < 2))
    assert min(in_gap.sum(), on_line.sum(), other.sum()) > 40
    assert (model.narrow[in_gap] == [True, False]).all()
    assert (model.narrow[on_line] == [False, True]).all()
    assert not model.narrow[other].any()


def test_narrow_ones_are_moved_in_further():
    narrow = np.array([[False, False], [True, False], [False, True], [True, True]])
    model = EdgeModel(np.zeros((4, 2)), np.tile([0.0, 1.0], (4, 1)), narrow)
    assert model.moved_in(0.1, (0.02, -0.03)).xy[:, 1] == pytest.approx([0.1, 0.12, 0.07, 0.09])
    assert model.only([2]).moved_in(0.1, (0.02, -0.03)).xy[0, 1] == pytest.approx(0.07)


def test_an_empty_mask_and_a_full_one_have_no_edges():
    for value in (0, 255):
        mask = np.full((40, 50), value, np.uint8)
        assert len(edge_model_of(mask, Affine.identity(), 1.0, spacing=2.0)) == 0


def test_thinning_leaves_one_to_a_cell_and_all_cells():
    points = np.random.default_rng(1).uniform(-50, 50, (4000, 2))
    kept = points[thin_out(points, 5.0)]
    cells = np.floor(kept / 5.0).astype(int)
    assert len(np.unique(cells, axis=0)) == len(kept)
    assert len(kept) == len(np.unique(np.floor(points / 5.0).astype(int), axis=0))
    assert np.array_equal(thin_out(points, 5.0), thin_out(points, 5.0))


@pytest.mark.parametrize("polarity", [1.0, -1.0])
@pytest.mark.parametrize("shift", [-1.7, -0.4, 0.0, 0.25, 1.3])
def test_a_known_shift_is_read_off(polarity, shift):
    rng = np.random.default_rng(2)
    places = scattered(rng, 6, 5, 34)
    light = {"inside": 170, "outside": 90} if polarity > 0 else {"inside": 70, "outside": 150}
    grey = picture(SHAPE, [disc(u, v, 10) for u, v in places], rng, noise=2.0, **light)
    # The model is too large by the shift: edges lie that far inwards, along the normal.
    model = round_model(places, 10 + shift)
    got = read_edges(grey, plain, model, 3.0, noise=2.0, px_per_unit=1.0)
    assert got.clear.mean() > 0.97
    assert (np.sign(got.step[got.clear]) == polarity).mean() > 0.99
    off = got.off[got.clear]
    # Blur 0.8 px, and the smoothing over samples 0.6 px apart, move a rim of 10 px by
    # s^2 / 2 r = 0.05 px; far out the slope is fitted on one side's samples.
    assert np.median(off) == pytest.approx(shift, abs=0.06 if abs(shift) < 1 else 0.1)
    assert np.std(off[np.abs(off - shift) < 1]) < 0.25


def test_a_shift_of_the_whole_is_a_cosine_round_the_rim():
    rng = np.random.default_rng(3)
    places = scattered(rng, 6, 5, 34)
    grey = picture(SHAPE, [disc(u, v, 10) for u, v in places], rng, noise=2.0)
    move = np.array([0.62, -0.35])
    model = round_model(places - move, 10)
    got = read_edges(grey, plain, model, 2.0, noise=2.0, px_per_unit=1.0)
    a = np.column_stack([model.normal, np.ones(len(model))])[got.clear]
    fitted = np.linalg.lstsq(a, got.off[got.clear], rcond=None)[0]
    # 1800 readings of about 0.1 px each: 0.1 sqrt(2 / 1800) = 0.003, and the sampling's 0.01.
    assert fitted[:2] == pytest.approx(move, abs=0.025)


def test_readings_are_in_the_models_unit():
    rng = np.random.default_rng(4)
    places = scattered(rng, 6, 5, 34)
    grey = picture(SHAPE, [disc(u, v, 10) for u, v in places], rng, noise=2.0)
    to_px = Affine([[20.0, 0, 5.0], [0, -20.0, 190.0]])
    mm = to_px.inverse(places)
    model = round_model(mm, 10 / 20 + 0.04)
    got = read_edges(grey, to_px, model, 0.15, noise=2.0, px_per_unit=20.0)
    assert np.median(got.off[got.clear]) == pytest.approx(0.04, abs=0.004)


@pytest.mark.parametrize("noise", [1.0, 4.0])
def test_flat_noise_shows_hardly_any_edges(noise):
    rng = np.random.default_rng(5)
    grey = rng.normal(100, noise, SHAPE).astype(np.float32)
    model = round_model(scattered(rng, 6, 5, 34), 10)
    got = read_edges(grey, plain, model, 3.0, noise=noise, px_per_unit=1.0)
    assert got.clear.mean() < 0.02


def test_of_two_edges_the_nearer_is_meant():
    rng = np.random.default_rng(6)
    # A track 5 px beside the edge in question.
    figures = [Figure("box", (100, 100), (40, 400)), Figure("box", (130, 100), (10, 400))]
    grey = picture(SHAPE, figures, rng, noise=2.0)
    v = np.arange(20.0, 180.0, 4)
    model = EdgeModel(
        np.column_stack([np.full_like(v, 119.2), v]), np.tile([-1.0, 0.0], (len(v), 1))
    )
    got = read_edges(grey, plain, model, 7.0, noise=2.0, px_per_unit=1.0)
    # The edge is at 120: against the normal.
    assert np.median(got.off) == pytest.approx(-0.8, abs=0.1)


def test_colours_with_weights_read_like_the_grey_made_of_them():
    rng = np.random.default_rng(7)
    places = scattered(rng, 6, 5, 34)
    share = coverage(SHAPE, [disc(u, v, 10) for u, v in places])[..., None]
    image = share * np.array([90, 140, 210.0]) + (1 - share) * np.array([60, 110, 120.0])
    image = np.clip(image + rng.normal(0, 2, image.shape), 0, 255).astype(np.uint8)
    weights = np.array([-0.1, 0.2, 0.7])
    model = round_model(places, 10.2)
    one = read_edges(image, plain, model, 2.0, noise=2.0, px_per_unit=1.0, weights=weights)
    grey = (image @ weights).astype(np.float32)
    two = read_edges(grey, plain, model, 2.0, noise=2.0, px_per_unit=1.0)
    assert (one.clear == two.clear).mean() > 0.99
    both = one.clear & two.clear
    # uint8 pictures are sampled to whole grey levels.
    assert np.median(np.abs(one.off[both] - two.off[both])) < 0.03
    assert np.median(one.off[both]) == pytest.approx(0.2, abs=0.06)


def test_outside_the_picture_nothing_is_clear():
    model = round_model(np.array([[500.0, 500.0], [-90.0, 20.0]]), 10)
    grey = np.full(SHAPE, 90, np.float32)
    assert not read_edges(grey, plain, model, 3.0, noise=1.0, px_per_unit=1.0).clear.any()


def test_a_part_of_a_model():
    model = round_model(np.array([[10.0, 10.0]]), 5, count=12)
    few = model.only(model.xy[:, 0] > 10)
    assert len(few) == ((model.xy[:, 0]) > 10).sum()
    assert (few.xy[:, 0] > 10).all() and few.normal.shape == few.xy.shape


@pytest.mark.parametrize("reach", [2.0, 4.0])
@pytest.mark.parametrize("off", [-0.9, -0.6, 0.0, 0.4, 0.8])
def test_edges_are_read_where_they_are_however_narrow_the_view(reach, off):
    """A narrow view asks for the nearer edge; where that one is must not be drawn to its middle."""
    image = picture(SHAPE, [Figure("box", (120, 100), (100, 60))], blur_px=1.2)
    v = np.linspace(80, 120, 41)
    left = EdgeModel(np.column_stack([np.full(41, 70.0 + off), v]), np.tile([1.0, 0.0], (41, 1)))
    got = read_edges(image, plain, left, reach, noise=0.3, px_per_unit=1.0)
    assert got.clear.all()
    assert got.off == pytest.approx(-off, abs=0.12)
