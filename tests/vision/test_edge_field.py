from __future__ import annotations

import cv2
import numpy as np
import pytest

from drillaid.vision.edge_field import edge_field

PX_PER_MM = 8.0
SHAPE = (240, 320)
ALL = np.full(SHAPE, 255, np.uint8)


def half_plane(angle_rad: float, *, dark=70, bright=150, noise=2.0) -> np.ndarray:
    """uint8 BGR; bright on the side to which angle_rad points, y up, through the middle."""
    v, u = np.mgrid[: SHAPE[0], : SHAPE[1]]
    along = (u - SHAPE[1] / 2) * np.cos(angle_rad) - (v - SHAPE[0] / 2) * np.sin(angle_rad)
    grey = cv2.GaussianBlur(np.where(along > 0, bright, dark).astype(np.float32), (0, 0), 0.8)
    image = np.repeat(grey[..., None], 3, axis=2)
    image += np.random.default_rng(1).normal(0, noise, image.shape).astype(np.float32)
    return np.clip(image, 0, 255).astype(np.uint8)


def at_the_edge(field: np.ndarray, angle_rad: float) -> complex:
    """The mean along the edge of `half_plane`."""
    t = np.arange(-80, 81)
    u = np.rint(SHAPE[1] / 2 + t * np.sin(angle_rad)).astype(int)
    v = np.rint(SHAPE[0] / 2 + t * np.cos(angle_rad)).astype(int)
    return complex(field[v, u].mean())


@pytest.mark.parametrize("angle", [0.0, 0.4, 1.2, 2.0, 3.0])
def test_an_edge_has_twice_its_angle_whichever_side_is_bright(angle):
    for turned in (angle, angle + np.pi):
        value = at_the_edge(edge_field(half_plane(turned), ALL, PX_PER_MM), turned)
        off = np.angle(value * np.exp(-2j * angle))
        assert abs(off) < 0.1
        assert abs(value) > 0.2


def test_it_is_bounded_and_fades_where_there_is_no_edge():
    field = edge_field(half_plane(0.7), ALL, PX_PER_MM)
    assert np.abs(field).max() <= 1.0 + 1e-5
    assert np.abs(field[:60, :60]).mean() < 0.3 * abs(at_the_edge(field, 0.7))


def test_brightness_of_the_light_changes_little():
    plain = half_plane(0.9)
    lit = plain * np.linspace(0.5, 1.4, SHAPE[1])[None, :, None]
    a = at_the_edge(edge_field(plain, ALL, PX_PER_MM), 0.9)
    b = at_the_edge(edge_field(np.clip(lit, 0, 255).astype(np.uint8), ALL, PX_PER_MM), 0.9)
    assert abs(a - b) < 0.15


def test_copper_of_the_boards_own_brightness_shows_by_its_colour():
    image = half_plane(0.5, dark=128, bright=128, noise=1.0).astype(np.float32)
    v, u = np.mgrid[: SHAPE[0], : SHAPE[1]]
    right = (u - SHAPE[1] / 2) * np.cos(0.5) - (v - SHAPE[0] / 2) * np.sin(0.5) > 0
    image[..., 2] += np.where(right, 25, -25)
    image[..., 0] -= np.where(right, 25, -25)
    value = at_the_edge(edge_field(image.astype(np.uint8), ALL, PX_PER_MM), 0.5)
    assert abs(np.angle(value * np.exp(-1j))) < 0.15
    assert abs(value) > 0.2


def test_outside_the_photograph_there_is_nothing():
    valid = ALL.copy()
    valid[:, :170] = 0
    field = edge_field(half_plane(0.0), valid, PX_PER_MM)
    assert not field[:, :170].any()
