from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drillaid.geometry import Affine
from drillaid.registration.fit import (
    PARAMETERS,
    PRINT,
    fit_plane,
    fit_similarity,
    print_covariance,
    robust_weights,
)
from drillaid.registration.refine_rims import best_plane_fit

XY = np.random.default_rng(1).uniform([-20, 30], [80, 90], (30, 2))

# A drawn truth for each model, all with a rotation far from nought.
TRUTHS = {
    "rigid": {"scale": 1.0, "shear": 0.0},
    "similarity": {"scale": 1.007, "shear": 0.0},
    "scales": {"scale": (1.009, 0.993), "shear": 0.0},
    "affine": {"scale": (1.009, 0.993), "shear": 0.006},
}


def truth_of(model: str, mirrored: bool) -> Affine:
    parts = Affine.from_parts(rotation_rad=2.2, offset=(14.0, -7.0), **TRUTHS[model])
    # Mirrored on the design's side, so that `scales` stay along the design's axes.
    return parts @ Affine([[-1, 0, 0], [0, 1, 0]]) if mirrored else parts


@settings(max_examples=40)
@given(
    st.floats(-3.1, 3.1), st.floats(0.3, 30), st.floats(-500, 500), st.floats(-500, 500),
    st.booleans(),
)
def test_similarities_come_back(rotation, scale, x, y, mirrored):
    truth = Affine.from_parts(rotation_rad=rotation, scale=scale, offset=(x, y), mirrored=mirrored)
    got = fit_similarity(XY, truth(XY), mirrored=mirrored)
    assert got(XY) == pytest.approx(truth(XY), abs=1e-7)


@pytest.mark.parametrize("mirrored", [False, True])
def test_the_asked_handedness_is_kept_whatever_the_points_say(mirrored):
    target = Affine.from_parts(rotation_rad=0.4, mirrored=not mirrored)(XY)
    got = fit_similarity(XY, target, mirrored=mirrored)
    assert (got.determinant < 0) == mirrored


def test_unscaled_fits_keep_lengths():
    got = fit_similarity(XY, 1.02 * XY, scaled=False)
    assert got.scale == pytest.approx((1.0, 1.0))
    assert got(XY.mean(axis=0))[0] == pytest.approx(1.02 * XY.mean(axis=0))


def test_weights_count():
    target = XY.copy()
    target[:5] += 40.0
    weight = np.ones(len(XY))
    weight[:5] = 0.0
    assert fit_similarity(XY, target, weight)(XY) == pytest.approx(XY, abs=1e-9)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("model", PARAMETERS)
def test_every_model_recovers_its_own_truth(model, mirrored):
    truth = truth_of(model, mirrored)
    got = fit_plane(XY, truth(XY), np.full(len(XY), 0.05), model, mirrored=mirrored)
    assert got.transform.matrix == pytest.approx(truth.matrix, abs=1e-8)
    assert got.chi2 == pytest.approx(0.0, abs=1e-8)
    assert got.model == model


@pytest.mark.parametrize("model", ["rigid", "similarity", "scales"])
def test_smaller_models_do_not_bend_to_what_they_have_no_word_for(model):
    truth = truth_of("affine", False)
    off = fit_plane(XY, truth(XY), np.full(len(XY), 0.05), model, mirrored=False).residual
    assert np.abs(off).max() > 0.05


def test_scales_lie_along_the_designs_axes():
    truth = truth_of("scales", True)
    got = fit_plane(XY, truth(XY), np.ones(len(XY)), "scales", mirrored=True).transform
    # The linear part times its transpose in the design's frame is diagonal.
    inner = got.linear.T @ got.linear
    assert inner[0, 1] == pytest.approx(0.0, abs=1e-9)
    assert np.sqrt(np.diag(inner)) == pytest.approx([1.009, 0.993], abs=1e-9)


@pytest.mark.parametrize("model", PARAMETERS)
def test_stated_errors_are_the_real_ones(model):
    """500 drawn fits with unequal sigmas: the variance at targets, and chi2, by Monte Carlo."""
    rng = np.random.default_rng(2)
    truth = truth_of(model, True)
    sigma = rng.uniform(0.01, 0.08, len(XY))
    targets = np.array([[30.0, 60.0], [80.0, 90.0], [-20.0, 30.0], [120.0, 60.0]])
    off, chi2 = [], []
    for _ in range(500):
        seen = truth(XY) + rng.normal(0, 1, XY.shape) * sigma[:, None]
        fit = fit_plane(XY, seen, sigma, model, mirrored=True)
        off.append(((fit.transform(targets) - truth(targets)) ** 2).sum(axis=1))
        chi2.append(fit.chi2)
    # The variance of a mean of 500 squared lengths: about 5 % of it, three sigmas of that.
    assert fit.variance_at(targets) == pytest.approx(np.mean(off, axis=0), rel=0.17)
    freedom = 2 * len(XY) - PARAMETERS[model]
    assert np.mean(chi2) == pytest.approx(freedom, rel=0.03)


def test_a_model_chosen_by_evidence_still_states_what_prints_do():
    """400 prints as home printers make them, few pads: what BIC leaves out is in the error."""
    rng = np.random.default_rng(5)
    few, sigma = XY[:: len(XY) // 9], 0.09
    off, bare, stated = [], [], []
    for _ in range(400):
        common, apart = rng.normal(0, PRINT["scale"]), rng.normal(0, PRINT["stretch"])
        truth = Affine.from_parts(
            rotation_rad=rng.uniform(-3, 3), scale=(1 + common + apart / 2, 1 + common - apart / 2),
            shear=rng.normal(0, PRINT["shear"]),
        )  # fmt: skip
        seen = truth(few) + rng.normal(0, sigma, few.shape)
        fit = best_plane_fit(few, seen, np.full(len(few), sigma), mirrored=False)
        whole = replace(fit, covariance=print_covariance(fit, few, np.full(len(few), sigma)))
        off.append(((fit.transform(XY) - truth(XY)) ** 2).sum(axis=1))
        bare.append(fit.variance_at(XY))
        stated.append(whole.variance_at(XY))
    real = np.sqrt(np.mean(off))
    assert np.sqrt(np.mean(bare)) < 0.9 * real
    assert 0.85 < np.sqrt(np.mean(stated)) / real < 1.25


def test_covariance_is_that_of_the_matrix():
    rng = np.random.default_rng(3)
    truth, sigma = truth_of("affine", False), np.full(len(XY), 0.05)
    fits = [
        fit_plane(XY, truth(XY) + rng.normal(0, 0.05, XY.shape), sigma, "affine", mirrored=False)
        for _ in range(800)
    ]
    seen = np.cov(np.array([f.transform.matrix.ravel() for f in fits]).T)
    assert np.sqrt(np.diag(fits[0].covariance)) == pytest.approx(np.sqrt(np.diag(seen)), rel=0.1)
    correlation = fits[0].covariance[0, 2] / np.sqrt(np.prod(np.diag(fits[0].covariance)[[0, 2]]))
    assert correlation == pytest.approx(seen[0, 2] / np.sqrt(seen[0, 0] * seen[2, 2]), abs=0.1)


def test_robust_weights_drop_what_is_wrong_and_measure_the_rest():
    rng = np.random.default_rng(4)
    sigma = rng.uniform(0.02, 0.06, 400)
    residual = rng.normal(0, 1, (400, 2)) * sigma[:, None]
    residual[:60] += 1.0
    weight, scale = robust_weights(residual, sigma)
    assert (weight[:60] == 0).all()
    assert (weight[60:] > 0.05).mean() > 0.98
    # 15 % of outliers raise a median by about a tenth.
    assert scale == pytest.approx(1.0, abs=0.25)
    assert robust_weights(3 * residual[60:], sigma[60:])[1] == pytest.approx(3.0, rel=0.15)
