from __future__ import annotations

import cv2
import numpy as np
import pytest

from drillaid.vision.eye import Eye
from drillaid.vision.quality import burnt_out, focus_of, shrunk, too_dark


def squares(sigma_px: float = 0.0, smear_px: int = 0, noise: float = 1.0) -> Eye:
    """Dark squares at four angles, under a Gaussian and a smear along u."""
    grey = np.full((540, 960), 180, np.uint8)
    for k, (u, v) in enumerate((u, v) for u in range(70, 930, 100) for v in range(70, 500, 100)):
        box = cv2.boxPoints(((u, v), (44, 44), 22.5 * (k % 4)))
        cv2.fillConvexPoly(grey, np.rint(box * 16).astype(np.int32), 60, cv2.LINE_AA, 4)
    grey = grey.astype(np.float32)
    if smear_px:
        grey = cv2.blur(grey, (smear_px, 1))
    if sigma_px:
        grey = cv2.GaussianBlur(grey, (0, 0), sigma_px)
    return Eye(grey + np.random.default_rng(1).normal(0, noise, grey.shape).astype(np.float32), noise)


@pytest.mark.parametrize("sigma_px", [1.0, 1.5, 2.5])
def test_the_width_of_a_known_blur(sigma_px):
    focus = focus_of(squares(sigma_px))
    assert focus.sigma_px == pytest.approx(sigma_px, rel=0.25, abs=0.15)
    assert focus.blurred == (sigma_px > 1.3)
    assert not focus.shaken


@pytest.mark.parametrize("smear_px", [11, 15])
def test_a_smear_is_no_lack_of_focus(smear_px):
    focus = focus_of(squares(0.6, smear_px))
    assert focus.shaken and not focus.blurred
    assert focus.smear_px == pytest.approx(smear_px, rel=0.3)
    assert min(focus.smear_rad, np.pi - focus.smear_rad) < 0.15


def test_a_sharp_picture_and_one_without_edges_are_neither():
    focus = focus_of(squares())
    assert not focus.blurred and not focus.shaken
    nothing = focus_of(Eye(np.full((200, 300), 90.0, np.float32), 1.0))
    assert np.isnan(nothing.sigma_px) and not nothing.blurred and not nothing.shaken


def test_light():
    assert too_dark(np.full((90, 90, 3), 5, np.uint8))
    assert not too_dark(np.full((90, 90, 3), 90, np.uint8))
    half = np.full((90, 90, 3), 120, np.uint8)
    half[:45] = 255
    assert burnt_out(half) == pytest.approx(0.5)


def test_only_large_pictures_are_shrunk():
    assert shrunk(np.zeros((1080, 1920, 3), np.uint8)).shape == (540, 960, 3)
    assert shrunk(np.zeros((40, 60, 3), np.uint8)).shape == (40, 60, 3)
