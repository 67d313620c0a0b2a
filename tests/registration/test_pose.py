from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from drillaid.geometry import Homography
from drillaid.registration.directions import FOCAL
from drillaid.registration.pose import (
    ALL,
    CENTRE_SIGMA,
    CROPPED_POSE,
    CROPPED_SIGMA,
    LENS_SIGMA,
    LOG_FOCAL_SIGMA,
    POSE,
    STRETCH_SIGMA,
    Pose,
    fit_pose,
    pose_from,
)

SIZE = (1600, 1200)
DESIGN = np.random.default_rng(1).uniform([10, -40], [90, 20], (60, 2))


def camera(rng, *, tilt_deg=25.0, flip=True, held=True) -> Pose:
    """A drawn camera over the design; held: with its own middle and lens as well."""
    axis = rng.normal(0, 1, 2)
    lean = cv2.Rodrigues(np.append(axis / np.linalg.norm(axis) * np.radians(tilt_deg), 0.0))[0]
    spin = cv2.Rodrigues(np.array([0, 0, rng.uniform(-np.pi, np.pi)]))[0]
    # Seen from above, y up in the design is v down in the picture, unless mirrored.
    face = np.diag([1.0, 1.0, 1.0]) if flip else np.diag([1.0, -1.0, -1.0])
    rotation = cv2.Rodrigues(lean @ spin @ face)[0].ravel()
    longer = max(SIZE)
    p = np.zeros(ALL)
    p[:3] = rotation
    p[3:6] = [rng.normal(0, 3), rng.normal(0, 3), rng.uniform(120, 170)]
    p[6] = rng.normal(0, 0.2)
    p[5] *= np.exp(p[6])  # about the same size in the picture
    p[7] = rng.normal(0, STRETCH_SIGMA)
    if held:
        p[8:10] = rng.normal(0, CENTRE_SIGMA * longer, 2)
        p[10] = rng.normal(0, LENS_SIGMA)
    return Pose(p, np.zeros((ALL, ALL)), SIZE, DESIGN.mean(axis=0), flip)


def start_of(truth: Pose) -> Pose:
    """From the plain homography through what is seen, as registration has it."""
    through, _ = cv2.findHomography(DESIGN, truth(DESIGN), 0)
    return pose_from(Homography.scaled_for(through, DESIGN), DESIGN, SIZE, flip=truth.flip)


@pytest.mark.parametrize("flip", [True, False])
def test_a_pose_and_its_homography_agree_where_there_is_no_lens(flip):
    truth = camera(np.random.default_rng(2), flip=flip, held=False)
    assert truth.homography(DESIGN) == pytest.approx(truth(DESIGN), abs=1e-6)


@pytest.mark.parametrize("flip", [True, False])
def test_the_pose_comes_back_from_its_homography(flip):
    truth = camera(np.random.default_rng(3), flip=flip, held=False)
    p = truth.parameters.copy()
    p[6:] = 0.0  # with the focal length that is taken to begin with
    truth = replace(truth, parameters=p)
    got = pose_from(truth.homography, DESIGN, SIZE, flip=flip)
    assert got(DESIGN) == pytest.approx(truth(DESIGN), abs=1e-6)
    assert got.focal_px == pytest.approx(FOCAL * 1600)
    assert got.parameters[:6] == pytest.approx(p[:6], abs=1e-6)


def test_derivatives_are_those_of_the_map():
    pose = camera(np.random.default_rng(4))
    px, jacobian = pose.with_jacobian(DESIGN)
    assert px == pytest.approx(pose(DESIGN))
    for k in range(ALL):
        step = 1e-5 * np.eye(ALL)[k] * (100 if k in (8, 9) else 1)
        ahead = replace(pose, parameters=pose.parameters + step)(DESIGN)
        behind = replace(pose, parameters=pose.parameters - step)(DESIGN)
        slope = (ahead - behind) / (2 * step[k])
        assert jacobian[:, :, k] == pytest.approx(slope, rel=2e-3, abs=2e-3 * np.abs(slope).max())


def test_no_points_no_pixels():
    pose = camera(np.random.default_rng(5))
    assert pose(np.zeros((0, 2))).shape == (0, 2)
    assert pose.variance_px2(np.zeros((0, 2))).shape == (0,)


@pytest.mark.parametrize("tilt_deg", [0.0, 20.0, 45.0])
@pytest.mark.parametrize("flip", [True, False])
def test_exact_pixels_are_met_exactly(tilt_deg, flip):
    rng = np.random.default_rng(6)
    for _ in range(5):
        truth = camera(rng, tilt_deg=tilt_deg, flip=flip, held=False)
        got = fit_pose(DESIGN, truth(DESIGN), np.full(60, 0.3), start_of(truth), rounds=25)
        off = np.linalg.norm(got(DESIGN) - truth(DESIGN), axis=1)
        # What is left is the pull of the priors on focal length and stretch.
        assert off.max() < 0.3


def test_stated_errors_hold_the_real_ones_with_what_was_not_fitted():
    """100 drawn cameras, each with its own middle and lens from the same priors."""
    rng = np.random.default_rng(7)
    corners = np.array([[10.0, -40.0], [90.0, 20.0], [50.0, -10.0], [90.0, -40.0]])
    real, stated = [], []
    for _ in range(100):
        truth = camera(rng, tilt_deg=rng.uniform(0, 35))
        sigma = rng.uniform(0.2, 0.6, 60)
        seen = truth(DESIGN) + rng.normal(0, 1, (60, 2)) * sigma[:, None]
        got = fit_pose(DESIGN, seen, sigma, start_of(truth))
        real.append(((got(corners) - truth(corners)) ** 2).sum(axis=1))
        stated.append(got.variance_px2(corners))
        assert (got.parameters[POSE:] == 0).all()
    ratio = np.sqrt(np.mean(stated, axis=0) / np.mean(real, axis=0))
    # 100 draws of few parameters: the rms is good to about 10 %.
    assert ((ratio > 0.75) & (ratio < 1.4)).all(), ratio


def test_held_terms_are_part_of_the_stated_error():
    truth = camera(np.random.default_rng(8), held=False)
    got = fit_pose(DESIGN, truth(DESIGN), np.full(60, 1e-3), start_of(truth))
    corner = np.array([[90.0, 20.0]])
    # However exact the pads, an unknown lens leaves its mark.
    assert np.sqrt(got.variance_px2(corner))[0] > 0.2
    held = got.covariance[POSE:, POSE:]
    longer = CENTRE_SIGMA * max(SIZE)
    assert np.sqrt(np.diag(held)) == pytest.approx([longer, longer, LENS_SIGMA])


def cropped(truth: Pose, rng) -> Pose:
    """The same camera in a picture of which a part was cut off: its middle is anywhere."""
    moved = truth.parameters.copy()
    moved[8:10] += rng.choice([-1, 1], 2) * rng.uniform(0.08, 0.2, 2) * max(SIZE)
    return replace(truth, parameters=moved)


def test_of_a_cropped_picture_the_cameras_middle_is_fitted():
    rng, off = np.random.default_rng(11), {False: [], True: []}
    for _ in range(20):
        truth = cropped(camera(rng, tilt_deg=rng.uniform(10, 30), held=False), rng)
        seen = truth(DESIGN) + rng.normal(0, 0.3, (60, 2))
        for free in (False, True):
            through = Homography.scaled_for(cv2.findHomography(DESIGN, seen, 0)[0], DESIGN)
            start = pose_from(through, DESIGN, SIZE, flip=truth.flip, cropped=free)
            got = fit_pose(DESIGN, seen, np.full(60, 0.3), start, rounds=30)
            off[free].append(np.abs(got(DESIGN) - truth(DESIGN)).max())
    assert np.median(off[True]) < 0.5 and max(off[True]) < 1.5
    assert np.median(off[False]) > 3 * np.median(off[True])


def test_the_stated_errors_of_cropped_pictures_hold():
    rng, real, stated = np.random.default_rng(12), [], []
    corners = np.array([[10.0, -40.0], [90.0, 20.0], [90.0, -40.0]])
    for _ in range(60):
        truth = camera(rng, tilt_deg=rng.uniform(5, 30), held=False)
        moved = truth.parameters.copy()
        moved[8:10] += rng.normal(0, CROPPED_SIGMA * max(SIZE), 2)
        moved[10] = rng.normal(0, LENS_SIGMA)
        truth = replace(truth, parameters=moved)
        seen = truth(DESIGN) + rng.normal(0, 0.4, (60, 2))
        through = Homography.scaled_for(cv2.findHomography(DESIGN, seen, 0)[0], DESIGN)
        start = pose_from(through, DESIGN, SIZE, flip=truth.flip, cropped=True)
        got = fit_pose(DESIGN, seen, np.full(60, 0.4), start, rounds=30)
        real.append(((got(corners) - truth(corners)) ** 2).sum(axis=1))
        stated.append(got.variance_px2(corners))
        assert (got.parameters[CROPPED_POSE:] == 0).all()
    ratio = np.sqrt(np.mean(stated) / np.mean(real))
    assert 0.75 < ratio < 1.4, ratio


def test_priors_keep_a_board_seen_flat_from_telling_a_focal_length():
    truth = camera(np.random.default_rng(9), tilt_deg=0.0, held=False)
    seen = truth(DESIGN) + np.random.default_rng(10).normal(0, 0.5, (60, 2))
    got = fit_pose(DESIGN, seen, np.full(60, 0.5), start_of(truth))
    assert abs(got.parameters[6]) < 2 * LOG_FOCAL_SIGMA
    assert np.sqrt(got.covariance[6, 6]) > 0.3 * LOG_FOCAL_SIGMA


def test_a_hopeless_start_comes_back_without_a_word():
    truth = camera(np.random.default_rng(11))
    start = replace(truth, parameters=np.r_[3.0, 1.0, 0.0, 0.0, 0.0, -50.0, np.zeros(5)])
    got = fit_pose(DESIGN, truth(DESIGN), np.full(60, 0.3), start)
    assert np.linalg.norm(got(DESIGN) - truth(DESIGN), axis=1).max() > 5


@pytest.mark.parametrize("flip", [True, False])
@pytest.mark.parametrize("longer", [-0.25, 0.25])
def test_the_pose_shows_the_points_where_the_homography_does(longer, flip):
    """Whatever the focal length: held at its guess, points at the rim were 10 to 25 px off."""
    truth = camera(np.random.default_rng(5), tilt_deg=35.0, flip=flip, held=False)
    p = truth.parameters.copy()
    p[5] *= np.exp(longer - p[6])
    p[6] = longer
    truth = replace(truth, parameters=p)
    got = start_of(truth)
    assert np.linalg.norm(got(DESIGN) - truth(DESIGN), axis=1).max() < 1.0
    assert got.focal_px == pytest.approx(truth.focal_px, rel=0.05)
    assert not got.covariance.any()  # a start states nothing
