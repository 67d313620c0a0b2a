from __future__ import annotations

import numpy as np
import pytest
from support.drawn_copper import board, exposed, photograph

from drillaid.geometry import Affine
from drillaid.registration.copper import copper_edges, some
from drillaid.registration.edging import blocks_of, fit_edges, jackknife, polarity_of
from drillaid.registration.refined import systematic_mm2
from drillaid.vision.channel import grey_of
from drillaid.vision.contours import EdgeReadings

SHAPE = (560, 760)
RATIO = 15.0  # px per mm
BOARD = board(1)
EDGES = copper_edges(BOARD.design.copper["bottom"])
HOLES = BOARD.design.xy_mm
MIDDLE = np.array(BOARD.size_mm) / 2


def view(turn_rad=0.12) -> Affine:
    """Design mm -> px, mirrored as the underside is, the board's middle in the picture's."""
    turned = Affine.from_parts(rotation_rad=turn_rad, scale=RATIO)
    linear = turned.linear @ np.diag([-1.0, -1.0])
    offset = np.array([379.5, 279.5]) - linear @ MIDDLE
    return Affine(np.column_stack([linear, offset]))


def moved(dx=0.0, dy=0.0, turn_rad=0.0, scale=(1.0, 1.0), shear=0.0) -> Affine:
    """Design mm -> design mm about the board's middle."""
    change = Affine.from_parts(rotation_rad=turn_rad, scale=scale, shear=shear).linear
    return Affine(np.column_stack([change, MIDDLE + [dx, dy] - change @ MIDDLE]))


def fitted(truth: Affine, start: Affine, rng, *, etch_mm=0.0, affine=True, count=2000, **look):
    """What the edges make of `start` where the board lies at `truth` (both design -> design)."""
    to_px = view()
    image = photograph(BOARD, to_px @ truth, SHAPE, rng, etch_mm=etch_mm, **look)
    grey = grey_of(image)
    return fit_edges(
        grey.image, to_px, some(EDGES, count), start, noise=grey.noise, px_per_mm=RATIO,
        affine=affine,
    )  # fmt: skip


def off_mm(fit, truth: Affine) -> np.ndarray:
    return np.linalg.norm(fit.placement(HOLES) - truth(HOLES), axis=1)


@pytest.mark.parametrize("etch_mm", [-0.1, 0.0, 0.1])
def test_shift_turn_scale_and_etch_are_recovered(etch_mm):
    rng = np.random.default_rng(2)
    truth = moved(0.21, -0.17, np.radians(0.35), (1.004, 0.997), 0.001)
    fit = fitted(truth, Affine.identity(), rng, etch_mm=etch_mm)
    # 0.01 mm is 0.15 px; the mask's own pixel is 0.05 mm.
    assert off_mm(fit, truth).max() < 0.01
    # Blur moves rims of 0.85 mm inwards by s^2 / 2 r = 0.002 mm more.
    assert fit.etch_mm == pytest.approx(etch_mm, abs=0.012)
    assert fit.share > 0.85
    assert fit.polarity == 1.0


def test_copper_darker_than_the_board_is_found_as_well():
    rng = np.random.default_rng(3)
    truth = moved(-0.2, 0.1, 0.004)
    fit = fitted(truth, Affine.identity(), rng, copper=(30, 35, 40), bare=(120, 160, 170))
    assert fit is not None
    # The best grey may well be turned round: only the place counts.
    assert off_mm(fit, truth).max() < 0.012
    assert fit.share > 0.8


def test_what_is_held_is_held():
    rng = np.random.default_rng(4)
    truth = moved(0.1, 0.1, 0.003, (1.004, 0.996))
    held = fitted(truth, Affine.identity(), rng, affine=False)
    assert held.placement.scale == pytest.approx((1.0, 1.0), abs=2e-3)
    assert held.placement.scale[0] / held.placement.scale[1] == pytest.approx(1.0, abs=2e-4)
    assert held.placement.shear == pytest.approx(0.0, abs=2e-4)


def test_stated_errors_are_the_real_ones():
    """30 pictures, six sub-pixel places and other noise in each: rms over holes."""
    rng = np.random.default_rng(5)
    real, stated = [], []
    for _ in range(6):
        truth = moved(*rng.uniform(-0.1, 0.1, 2), rng.uniform(-0.003, 0.003))
        still = photograph(BOARD, view() @ truth, SHAPE, rng, noise=0.0)
        for _ in range(5):
            grey = grey_of(exposed(still, rng, 8.0))
            fit = fit_edges(
                grey.image, view(), some(EDGES, 700), Affine.identity(), noise=grey.noise,
                px_per_mm=RATIO,
            )  # fmt: skip
            real.append(np.mean(off_mm(fit, truth) ** 2))
            stated.append(np.mean(fit.variance_at(HOLES)))
    assert np.sqrt(np.mean(real)) < 0.01
    # The mask's raster is the same each time and is not in the covariance: for it a
    # floor is added wherever placements are told.
    ratio = np.sqrt((np.mean(stated) + systematic_mm2(fit.scatter_mm)) / np.mean(real))
    assert 0.7 < ratio < 1.8


def test_the_covariance_is_no_less_than_what_noise_does():
    """One board at one place, 12 pictures: the raster's share is the same in all of them."""
    rng = np.random.default_rng(10)
    still = photograph(BOARD, view() @ moved(0.05, -0.03, 0.002), SHAPE, rng, noise=0.0)
    placed, stated = [], []
    for _ in range(12):
        grey = grey_of(exposed(still, rng, 8.0))
        fit = fit_edges(
            grey.image, view(), some(EDGES, 700), Affine.identity(), noise=grey.noise,
            px_per_mm=RATIO,
        )  # fmt: skip
        placed.append(fit.placement(HOLES))
        stated.append(np.mean(fit.variance_at(HOLES)))
    scatter = np.sqrt(np.var(placed, axis=0, ddof=1).sum(axis=1).mean())
    # 12 draws of six numbers: good to about 15 %. Unevenness that is no noise counts as well.
    assert 0.7 < np.sqrt(np.mean(stated)) / scatter < 2.0


def test_leaving_out_one_at_a_time_gives_the_error_of_a_mean():
    """The jackknife of a mean is its standard error squared exactly (B. Efron, The Jackknife,
    the Bootstrap and Other Resampling Plans, 1982, chapter 3; from memory)."""
    values = np.random.default_rng(12).normal(3, 2, (40, 2))
    left_out = np.array([np.delete(values, k, axis=0).mean(axis=0) for k in range(40)])
    assert jackknife(left_out) == pytest.approx(np.cov(values.T) / 40)


@pytest.mark.parametrize("count", [2, 4, 8])
def test_blocks_are_compact_and_alike_in_number(count):
    xy = np.random.default_rng(13).uniform(0, 1, (803, 2)) * [80.0, 50.0]
    block = blocks_of(xy, count)
    assert np.ptp(np.bincount(block)) <= count and len(np.bincount(block)) == count
    # Halves of a rectangle: each spans about 1 / count of its area.
    area = [np.prod(np.ptp(xy[block == k], axis=0)) for k in range(count)]
    assert sum(area) < 4000.0


def test_at_wrong_places_few_edges_agree():
    rng = np.random.default_rng(6)
    grey = grey_of(photograph(BOARD, view(), SHAPE, rng))

    def share(start: Affine) -> float:
        fit = fit_edges(
            grey.image, view(), some(EDGES, 700), start, noise=grey.noise, px_per_mm=RATIO
        )
        return 0.0 if fit is None else fit.share

    assert share(Affine.identity()) > 0.85
    angle, length = rng.uniform(0, 2 * np.pi, 8), rng.uniform(1.6, 6.0, 8)
    steps = length * np.array([np.cos(angle), np.sin(angle)])
    shares = [share(moved(*step)) for step in steps.T]
    assert np.mean(shares) < 0.3
    assert max(shares) < 0.5


def test_half_turned_it_does_not_fit():
    fit = fitted(Affine.identity(), moved(turn_rad=np.pi), np.random.default_rng(7))
    assert fit is None or fit.share < 0.4


def test_hidden_under_a_sheet_the_rest_decides():
    rng = np.random.default_rng(8)
    to_px, truth = view(), moved(0.12, -0.08)
    image = photograph(BOARD, to_px @ truth, SHAPE, rng)
    image[:, :380] = rng.integers(140, 160, (SHAPE[0], 380, 3))
    grey = grey_of(image)
    fit = fit_edges(
        grey.image, to_px, some(EDGES, 2000), Affine.identity(), noise=grey.noise, px_per_mm=RATIO
    )
    seen = (to_px(truth(HOLES))[:, 0] > 400)
    assert off_mm(fit, truth)[seen].max() < 0.015
    # Over all edges of the model, also those that nobody can see.
    assert 0.3 < fit.share < 0.65


@pytest.mark.parametrize("value", [None, 90])
def test_nothing_there_is_nothing_found(value):
    rng = np.random.default_rng(9)
    flat = rng.normal(100, 3, SHAPE) if value is None else np.full(SHAPE, value)
    fit = fit_edges(
        flat.astype(np.float32), view(), some(EDGES, 1500), Affine.identity(), noise=3.0,
        px_per_mm=RATIO,
    )  # fmt: skip
    assert fit is None


def test_polarity_is_decided_by_the_strong_edges():
    step = np.array([5.0, 6.0, -30.0, -28.0, 40.0])
    clear = np.array([True, True, True, True, False])
    readings = EdgeReadings(np.zeros(5), step, clear)
    assert polarity_of(readings, np.ones(5, bool)) == -1.0
    assert polarity_of(readings, np.array([1, 1, 0, 0, 0], bool)) == 1.0
