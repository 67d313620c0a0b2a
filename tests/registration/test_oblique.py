from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from support.drawn_copper import board, photograph

from drillaid.registration.copper import copper_edges, some
from drillaid.registration.oblique import fit_pose_by_edges
from drillaid.registration.pose import ALL, Pose
from drillaid.vision.channel import grey_of
from drillaid.vision.eye import Eye

SIZE = (860, 640)
BOARD = board(8)
EDGES = copper_edges(BOARD.design.copper["bottom"])
HOLES = BOARD.design.xy_mm
RATIO = 14.0


def pose(tilt_deg=22.0, log_focal=0.1) -> Pose:
    """The underside of the board under a camera aslant, mirrored."""
    lean = cv2.Rodrigues(np.array([np.radians(tilt_deg), np.radians(6.0), 0.0]))[0]
    spin = cv2.Rodrigues(np.array([0, 0, 0.2]))[0]
    p = np.zeros(ALL)
    p[:3] = cv2.Rodrigues(lean @ spin)[0].ravel()
    p[3:6] = [0.7, -0.4, 0.95 * 860 * np.exp(log_focal) / RATIO]
    p[6], p[7] = log_focal, 0.003
    return Pose(p, np.zeros((ALL, ALL)), SIZE, np.array(BOARD.size_mm) / 2, True)


def seen(truth: Pose, rng, **look) -> Eye:
    grey = grey_of(photograph(BOARD, truth.homography, SIZE[::-1], rng, **look))
    return Eye(grey.image, grey.noise)


def nudged(truth: Pose, rng) -> Pose:
    """Some tenths of a millimetre off, as pads leave it; print and focal length unknown."""
    p = truth.parameters.copy()
    p[:2] += rng.normal(0, 0.004, 2)
    p[2] += rng.normal(0, 0.003)
    p[3:5] += rng.normal(0, 0.15, 2)
    p[7] = 0.0
    return replace(truth, parameters=p)


def off_mm(got: Pose, truth: Pose) -> np.ndarray:
    return np.linalg.norm(got(HOLES) - truth(HOLES), axis=1) / RATIO


@pytest.mark.parametrize("tilt_deg", [0.0, 25.0, 40.0])
@pytest.mark.parametrize("etch_mm", [0.0, 0.08])
def test_the_pose_is_found_by_the_edges(tilt_deg, etch_mm):
    rng = np.random.default_rng(1)
    truth = pose(tilt_deg)
    eye = seen(truth, rng, etch_mm=etch_mm)
    got = fit_pose_by_edges(eye, nudged(truth, rng), some(EDGES, 2000), RATIO)
    # 0.02 mm is a quarter of a pixel, at the corners of the board as well.
    assert off_mm(got.pose, truth).max() < 0.02
    assert got.etch_mm == pytest.approx(etch_mm, abs=0.015)
    assert got.share > 0.8
    # What is not fitted is part of what is stated.
    assert np.sqrt(got.pose.variance_px2(HOLES)).max() / RATIO > 0.01


def test_fewer_and_noisier_edges_are_worth_less():
    rng = np.random.default_rng(4)
    truth = pose()
    middle = np.array([BOARD.size_mm]) / 2
    stated = []
    for noise, count in ((2.0, 2500), (8.0, 500)):
        got = fit_pose_by_edges(seen(truth, rng, noise=noise), truth, some(EDGES, count), RATIO)
        stated.append(float(np.sqrt(got.pose.variance_px2(middle)[0])))
    # In the middle of the board, where what is not fitted hardly counts: px.
    assert stated[1] > 2 * stated[0]
    # Real errors here are 0.035 px: never less than that.
    assert stated[1] > 0.03


def test_somewhere_else_hardly_anything_agrees():
    rng = np.random.default_rng(2)
    truth = pose()
    eye = seen(truth, rng)
    for dx, dy in ((2.5, 0.7), (-1.9, 3.0), (4.0, -4.0)):
        p = truth.parameters.copy()
        p[3:5] += [dx, dy]
        got = fit_pose_by_edges(eye, replace(truth, parameters=p), some(EDGES, 700), RATIO)
        assert got is None or got.share < 0.5


def test_nothing_there_is_nothing_found():
    flat = np.random.default_rng(3).normal(100, 3, SIZE[::-1]).astype(np.float32)
    assert fit_pose_by_edges(Eye(flat, 3.0), pose(), some(EDGES, 1500), RATIO) is None
