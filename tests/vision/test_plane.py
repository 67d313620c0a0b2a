from __future__ import annotations

import numpy as np
import pytest

from drillaid.geometry import Homography
from drillaid.simulation.rigs import nominal_rig
from drillaid.vision.plane import FreePlane, RigPlane, flatten, free_plane, visible_bounds

SIZE = (480, 270)


def view_of(kind: str):
    if kind == "rig":
        return RigPlane(nominal_rig(*SIZE, 0.24, np.radians(14), 1.0, seed=5), 1.6)
    if kind == "fine rig":  # several of its pixels to one of a flat picture
        return RigPlane(nominal_rig(1280, 720, 0.06, np.radians(14), 1.0, seed=5), 1.6)
    matrix = [[8.0, 2.0, 200.0], [1.0, -9.0, 150.0], [0.004, -0.006, 1.0]]
    return free_plane(np.array(matrix), SIZE)


@pytest.mark.parametrize("kind", ["rig", "free"])
def test_there_and_back(kind):
    view = view_of(kind)
    px = np.random.default_rng(1).uniform([0, 0], np.subtract(SIZE, 1), (300, 2))
    assert view.to_px(view.to_plane(px)) == pytest.approx(px, abs=1e-6)
    assert view.size_px == SIZE


def test_a_rig_plane_is_the_rig_at_its_height():
    view = view_of("rig")
    xy = np.array([[3.0, -4.0], [20.0, 15.0]])
    assert view.to_px(xy) == pytest.approx(view.rig.to_pixels(xy, 1.6), abs=1e-9)
    assert view.to_plane(view.to_px(xy)) == pytest.approx(xy, abs=1e-9)


def test_free_planes_know_front_from_behind_whatever_the_sign():
    matrix = np.array([[8.0, 2.0, 200.0], [1.0, -9.0, 150.0], [0.004, -0.006, 1.0]])
    px = np.array([[10.0, 20.0], [400.0, 200.0]])
    for factor in (1.0, -1.0, 17.0):
        view = free_plane(factor * matrix, SIZE)
        assert isinstance(view, FreePlane)
        xy = view.to_plane(px)
        assert np.isfinite(xy).all()
        assert xy == pytest.approx(Homography(matrix).inverse(px), rel=1e-9)
        assert view.to_px(xy) == pytest.approx(px, abs=1e-9)


def painted(view) -> np.ndarray:
    """A photograph of a smooth pattern on the plane, float32."""
    width, height = view.size_px
    v, u = np.mgrid[:height, :width]
    xy = view.to_plane(np.column_stack([u.ravel(), v.ravel()]))
    return pattern(xy).reshape(height, width).astype(np.float32)


def pattern(xy) -> np.ndarray:
    # A wave of 10 mm: a shift of 0.01 mm changes it by 80 * 2 pi / 10 * 0.01 = 0.5.
    return 128 + 80 * np.sin(2 * np.pi * xy[:, 0] / 10) * np.cos(2 * np.pi * xy[:, 1] / 10)


@pytest.mark.parametrize("averaged", [True, False])
@pytest.mark.parametrize("kind", ["rig", "free", "fine rig"])
def test_a_flattened_picture_shows_the_plane(kind, averaged):
    view = view_of(kind)
    flat = flatten(painted(view), view, 5.0, averaged=averaged)
    assert flat.px_per_unit == pytest.approx(5.0)
    v, u = np.nonzero(flat.valid)
    pick = np.random.default_rng(2).permutation(len(u))[:5000]
    px = np.column_stack([u, v])[pick]
    off = flat.image[px[:, 1], px[:, 0]] - pattern(flat.to_plane(px))
    # Two linear interpolations of a 10 mm wave; a fault of half a pixel would give 5.
    assert np.sqrt(np.mean(off**2)) < 1.0
    assert len(u) > 0.5 * flat.valid.size


@pytest.mark.parametrize("averaged", [True, False])
@pytest.mark.parametrize("kind", ["rig", "free", "fine rig"])
def test_valid_is_what_the_photograph_covers(kind, averaged):
    view = view_of(kind)
    flat = flatten(np.zeros(view.size_px[::-1], np.uint8), view, 3.0, averaged=averaged)
    v, u = np.mgrid[: flat.valid.shape[0], : flat.valid.shape[1]]
    px = view.to_px(flat.to_plane(np.column_stack([u.ravel(), v.ravel()]).astype(float)))
    # px of the photograph that the coarse map may be off at the rim, or that fill no square
    clear = 4.5 if kind == "fine rig" else 1.5
    with np.errstate(invalid="ignore"):
        inside = ((px >= clear) & (px <= np.subtract(view.size_px, 1 + clear))).all(axis=1)
        outside = ((px < -clear) | (px > np.subtract(view.size_px, 1 - clear))).any(axis=1)
    valid = flat.valid.ravel() > 0
    assert valid[inside].all()
    assert not valid[outside].any()


def test_what_is_coarser_than_the_photograph_is_quieter():
    view = view_of("rig")
    noise = np.random.default_rng(3).normal(128, 8, (SIZE[1], SIZE[0])).astype(np.float32)
    fine, coarse = (flatten(noise, view, k, averaged=True) for k in (4.0, 1.3))
    assert coarse.image[coarse.valid > 0].std() < 0.5 * fine.image[fine.valid > 0].std()


def test_y_runs_up_and_x_to_the_right():
    flat = flatten(np.zeros((SIZE[1], SIZE[0]), np.uint8), view_of("rig"), 4.0)
    a, b, c = flat.to_plane([[0, 0], [10, 0], [0, 10]])
    assert b - a == pytest.approx([2.5, 0.0])
    assert c - a == pytest.approx([0.0, -2.5])


def test_colours_stay_colours():
    view = view_of("rig")
    image = np.zeros((SIZE[1], SIZE[0], 3), np.uint8)
    image[:] = (10, 120, 230)
    flat = flatten(image, view, 4.0)
    assert flat.image.dtype == np.uint8
    assert (flat.image[flat.valid > 0] == (10, 120, 230)).all()


def test_a_large_view_is_made_coarser_not_larger():
    flat = flatten(np.zeros((SIZE[1], SIZE[0]), np.uint8), view_of("rig"), 500.0, max_px=800)
    assert max(flat.image.shape) <= 802
    assert flat.px_per_unit < 500


def test_bounds_hold_the_whole_footprint():
    view = view_of("rig")
    low, high = visible_bounds(view)
    corners = view.to_plane([[0, 0], [479, 0], [479, 269], [0, 269]])
    assert low == pytest.approx(corners.min(axis=0), abs=0.5)
    assert high == pytest.approx(corners.max(axis=0), abs=0.5)
    assert (corners >= low - 1e-9).all() and (corners <= high + 1e-9).all()
