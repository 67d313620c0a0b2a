from __future__ import annotations

import numpy as np
import pytest

from drillaid.vision.sampling import WIDE, sample

# The library places its samples on a raster of 1/32 px.
RASTER_PX = 1 / 64


def ramp(height=40, width=60) -> np.ndarray:
    v, u = np.mgrid[:height, :width]
    return (3.0 * u + 2.0 * v).astype(np.float32)


def test_pixels_come_back_as_they_are():
    grey = np.random.default_rng(1).uniform(0, 255, (12, 17)).astype(np.float32)
    v, u = np.mgrid[:12, :17]
    assert np.array_equal(sample(grey, np.dstack([u, v])), grey)


def test_between_pixels_a_ramp_is_continued():
    px = np.random.default_rng(2).uniform([0, 0], [59, 39], (500, 2))
    wanted = px @ [3.0, 2.0]
    assert np.abs(sample(ramp(), px) - wanted).max() < (3 + 2) * RASTER_PX + 1e-3


def test_u_comes_first():
    grey = np.zeros((5, 9), np.float32)
    grey[1, 7] = 50
    assert sample(grey, np.array([[7.0, 1.0], [1.0, 7.0]])).tolist() == [50.0, 0.0]


def test_outside_the_rim_counts_and_nowhere_is_no_accident():
    grey = ramp()
    assert sample(grey, np.array([[-20.0, 10.0]]))[0] == grey[10, 0]
    assert sample(grey, np.array([[500.0, 10.0]]))[0] == grey[10, -1]
    assert np.isfinite(sample(grey, np.array([[np.nan, 10.0]]))).all()


@pytest.mark.parametrize("count", [1, WIDE - 1, WIDE, WIDE + 1, 3 * WIDE + 7])
def test_any_number_of_places(count):
    px = np.random.default_rng(3).uniform([0, 0], [59, 39], (count, 2))
    got = sample(ramp(), px)
    assert got.shape == (count,)
    assert np.allclose(got, px @ [3.0, 2.0], atol=0.1)


def test_no_places_give_no_values():
    assert sample(ramp(), np.zeros((0, 2))).shape == (0,)


def test_leading_axes_and_colours_are_kept():
    colour = np.dstack([ramp(), 2 * ramp(), 255 - ramp()])
    px = np.random.default_rng(4).uniform(0, 30, (4, 5, 6, 2))
    got = sample(colour, px)
    assert got.shape == (4, 5, 6, 3)
    assert np.allclose(got[..., 1], 2 * got[..., 0], atol=0.01)
    assert sample(colour.astype(np.uint8), px).dtype == np.uint8
