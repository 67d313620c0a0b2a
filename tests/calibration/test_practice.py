"""The sheet for the simulated camera is the pattern that is looked for."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from support.sheets import PLAIN, SMALL, photograph

from calibration.practice import pose_over, sheet_of


@pytest.mark.parametrize("pattern", [SMALL, PLAIN])
def test_sheet_has_the_patterns_size_and_its_corner_squares(pattern):
    sheet = sheet_of(pattern)
    assert sheet.size_mm == pytest.approx(pattern.size_mm)
    assert not sheet.white[0, 0]  # the upper left square is ink
    assert sheet.white[0, 21]  # the rim of the next one is paper


def test_pose_puts_a_sheet_point_before_the_camera():
    vector, translation = pose_over((10, 20), 80, (0.2, 0.3, 0.1))
    there = cv2.Rodrigues(vector)[0] @ [10, 20, 0] + translation
    np.testing.assert_allclose(there, [0, 0, 80], atol=1e-12)


def test_photograph_tells_the_true_pixels():
    image, true_px = photograph()
    assert image.shape == (540, 960, 3)
    assert np.isfinite(true_px(SMALL.corners_mm)).all()
