"""Dots drawn exactly: where they are, and that noise shows none."""

from __future__ import annotations

import numpy as np
import pytest
from support.drawn_dots import PX_PER_MM, drawn_dots, to_px

from drillaid.vision.dots import dots_at


@pytest.mark.parametrize("radius_mm", [0.16, 0.2, 0.28])
def test_a_drawn_dot_is_placed_within_a_tenth_of_a_pixel(radius_mm):
    rng = np.random.default_rng(1)
    holes = np.stack(np.meshgrid(np.arange(4, 56, 5.0), np.arange(4, 36, 5.0)), -1).reshape(-1, 2)
    astray = rng.uniform(-0.1, 0.1, holes.shape)
    dots = dots_at(drawn_dots(holes + astray, radius_mm, 2.0), to_px, holes, 0.2)
    assert dots.in_view.all() and dots.likeness.min() > 0.8
    left = dots.off_mm - astray
    assert np.sqrt(np.mean(left**2)) < 0.1 / PX_PER_MM


def test_noise_shows_no_dot_and_places_outside_are_not_in_view():
    holes = np.array([[10.0, 10.0], [30.0, 20.0], [-5.0, 3.0], [59.95, 20.0]])
    eye = drawn_dots(np.zeros((0, 2)), 0.2, 4.0)
    dots = dots_at(eye, to_px, holes, 0.2)
    assert dots.in_view.tolist() == [True, True, False, False]
    assert dots.likeness[:2].max() < 0.5 and (dots.likeness[2:] == -1).all()
