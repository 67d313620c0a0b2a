"""The fit of the lens against cameras that are known: errors, choices, rejections."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from support.lens_views import projected_views, truth_of

from calibration.bundle import Seen, fit_bundle, matrix_of, projected
from calibration.lens_fit import TERM_SETS, fit_lens, held_out_px
from drillaid.simulation.rigs import nominal_rig

SIZE = 1920, 1080


def test_bundle_finds_what_the_image_librarys_own_calibration_finds():
    _, views = projected_views(1, 8)
    fit = fit_bundle([Seen(v.mm, v.px, np.ones(len(v.mm))) for v in views], SIZE)
    three = [np.column_stack([v.mm, 0 * v.mm[:, 0]]).astype(np.float32) for v in views]
    seen = [v.px.astype(np.float32) for v in views]
    rms, matrix, distortion, *_ = cv2.calibrateCamera(three, seen, SIZE, None, None)
    np.testing.assert_allclose(fit.matrix, matrix, atol=0.01)
    np.testing.assert_allclose(fit.distortion, distortion.ravel()[:5], atol=2e-4)
    corners = sum(len(v.mm) for v in views)
    assert np.sqrt(fit.cost / corners) == pytest.approx(rms, rel=1e-4)


def test_leaving_a_view_out_to_first_order_is_leaving_it_out():
    _, views = projected_views(2, 8)
    free = TERM_SETS["k1 k2 p1 p2"]
    fit = fit_bundle(views, SIZE, free)
    for row in (0, 5):
        again = fit_bundle(views[:row] + views[row + 1 :], SIZE, free)
        sigma = np.sqrt(np.diag(fit.covariance()))
        moved = (fit.without([row]) - again.values)[list(free)]
        assert (np.abs(moved) < 0.1 * sigma).all()


def test_values_lie_where_their_sigma_says():
    """A few rigs; a hundred are in tests/benchmarks/bench_calibration.py."""
    off = []
    for seed in range(10, 14):
        rig, views = projected_views(seed)
        fit = fit_lens(views, SIZE)
        wrong = fit.values - truth_of(rig)
        assert np.abs(wrong[:2] / fit.values[:2]).max() < 0.001
        assert np.abs(wrong[2:4]).max() < 1
        assert fit.used.all() and 0.9 < fit.typical < 1.1
        off.append(wrong[:8] / fit.sigma[:8])
    off = np.array(off)
    assert (np.abs(off) < 2.5).mean() >= 0.95
    assert 0.5 < np.sqrt((off**2).mean()) < 1.3  # neither boastful nor timid


def test_held_out_error_is_the_noise_and_not_less():
    _, views = projected_views(4)
    fit = fit_lens(views, SIZE)
    noise = np.sqrt(2) * 0.03 * np.exp(0.2**2)  # both axes; mean square of the spread sigmas
    assert fit.total_held_out_px == pytest.approx(noise, rel=0.08)
    assert fit.total_held_out_px > fit.total_rms_px


@pytest.mark.parametrize(
    ("distortion", "terms"),
    [
        ((-0.11, 0.045, 0.0, 0.0, 0.0), "k1 k2"),
        ((-0.11, 0.045, 0.002, -0.001, 0.0), "k1 k2 p1 p2"),
        ((-0.25, 0.08, 0.002, -0.001, 0.09), "k1 k2 p1 p2 k3"),
    ],
)
def test_terms_come_in_where_views_support_them(distortion, terms):
    rig = nominal_rig(distortion=distortion)
    _, views = projected_views(3, 12, rig=rig)
    fit = fit_lens(views, SIZE)
    assert fit.terms == terms
    assert (np.abs(fit.values - truth_of(rig)) < 3.5 * np.maximum(fit.sigma, 1e-12)).all()


def test_a_bent_sheet_is_left_out_and_no_other_view():
    rig, views = projected_views(5)
    bent = views[3]
    middle = bent.mm - bent.mm.mean(axis=0)
    off = 3e-4 * (middle**2).sum(axis=1)
    views[3] = Seen(bent.mm, bent.px + off[:, None] * [1.0, -0.6], bent.sigma_px)
    fit = fit_lens(views, SIZE)
    assert np.flatnonzero(~fit.used).tolist() == [3]
    wrong = np.abs(fit.values - truth_of(rig))[:4]
    assert (wrong < 3 * fit.sigma[:4]).all()
    assert fit.rms_px[3] > 5 * np.median(fit.rms_px)


def test_a_few_bad_corners_cost_the_corners_only():
    _, views = projected_views(6)
    bad = views[2].px.copy()
    bad[[4, 9, 30]] += [[2.0, 1.0], [-1.5, 0.3], [0.0, 0.8]]
    views[2] = Seen(views[2].mm, bad, views[2].sigma_px)
    fit = fit_lens(views, SIZE)
    assert fit.used.all()
    assert np.flatnonzero(~fit.kept[2]).tolist() == [4, 9, 30]
    assert all(kept.mean() > 0.99 for row, kept in enumerate(fit.kept) if row != 2)


@pytest.mark.parametrize("stretch", [0.0, 0.004, -0.003])
def test_a_stretched_print_is_noticed_and_spoils_nothing(stretch):
    rig, views = projected_views(12, 14)
    drawn = [Seen(v.mm / [1, 1 + stretch], v.px, v.sigma_px) for v in views]
    fit = fit_lens(drawn, SIZE)
    assert fit.used.all()
    assert (fit.stretch != 0) == (stretch != 0)
    assert abs(fit.stretch - stretch) <= 3 * fit.stretch_sigma
    assert (np.abs(fit.values - truth_of(rig))[:4] < 3 * fit.sigma[:4]).all()


def test_no_view_is_lost_where_all_are_equally_good():
    for seed in range(20, 23):
        assert fit_lens(projected_views(seed, 8)[1], SIZE).used.all()


def test_held_out_notices_a_view_the_others_contradict():
    _, views = projected_views(7, 8)
    views[0] = Seen(views[0].mm * [1.01, 1.0], views[0].px, views[0].sigma_px)
    fit = fit_bundle(views, SIZE, TERM_SETS["k1 k2 p1 p2"])
    held = held_out_px(views, fit)
    assert held[0] > 3 * np.median(held[1:])


def test_projection_is_the_rigs_own():
    rig = nominal_rig(seed=2)
    mm = np.array([[0.0, 0.0], [30.0, 20.0]])
    pose = np.concatenate([rig.rotation_vector, rig.translation_mm])
    np.testing.assert_allclose(
        projected(mm, truth_of(rig), pose), rig.project(np.column_stack([mm, [0, 0]])), atol=1e-6
    )
    np.testing.assert_array_equal(matrix_of(truth_of(rig)), rig.matrix)
