from __future__ import annotations

import cv2
import numpy as np
import pytest

from drillaid.vision.eye import Eye
from drillaid.vision.quality import BLURRED, sharpness, trouble


def steps(sigma_px: float, noise: float = 1.0) -> Eye:
    """A picture of steps 40 px apart under a Gaussian of sigma_px."""
    grey = np.where((np.arange(640) // 40) % 2, 180.0, 60.0).astype(np.float32)
    grey = cv2.GaussianBlur(np.tile(grey, (480, 1)), (0, 0), max(sigma_px, 0.1))
    return Eye(grey + np.random.default_rng(1).normal(0, noise, grey.shape).astype(np.float32), noise)


@pytest.mark.parametrize("sigma_px", [0.7, 1.5])
def test_sharpness_of_a_known_blur(sigma_px):
    # Blur and the gradient's own smoothing of 1 px add in squares; the 3 x 3 mask
    # smooths a little more (about 0.8 px), hence the tolerance.
    expected = 1 / (np.sqrt(2 * np.pi) * np.hypot(sigma_px, 1.0))
    assert sharpness(steps(sigma_px)) == pytest.approx(expected, rel=0.25)


def test_focus_is_told_apart():
    assert trouble(steps(0.8)) is None
    assert sharpness(steps(4.0)) < BLURRED
    assert "out of focus" in trouble(steps(4.0))


def test_darkness_and_emptiness():
    assert "black" in trouble(Eye(np.full((100, 100), 4.0, np.float32), 1.0))
    assert trouble(Eye(np.full((100, 100), 90.0, np.float32), 1.0)) is None
