"""The camera model against hand-computed pinholes, another implementation and itself."""

from __future__ import annotations

import dataclasses
import math

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drillaid.rig.rig import Rig

LENSES = {
    "none": (0, 0, 0, 0, 0),
    "webcam": (-0.28, 0.07, 0.002, -0.001, 0.0),
    # OpenCV samples/data/left_intrinsics.yml, published.md 3b (published there)
    "published": (-0.26637261, -0.03858890, 0.00178319, -0.00028122, 0.23839153),
    "strong barrel": (-0.45, 0.25, 0.01, -0.01, -0.05),
    "strong pincushion": (0.5, 0.3, -0.01, 0.01, 0.1),
}


def rig_above(height_mm=400.0, lens=(0, 0, 0, 0, 0), **change) -> Rig:
    """Straight down from above the bench's origin; camera x along bench x."""
    values = dict(
        width=1920,
        height=1080,
        matrix=[[1500.0, 0, 960.0], [0, 1480.0, 540.0], [0, 0, 1]],
        distortion=lens,
        rotation_vector=[math.pi, 0, 0],
        translation_mm=[0, 0, height_mm],
    )
    return Rig(**values | change)


def grid(rig: Rig, n=25) -> np.ndarray:
    u, v = np.meshgrid(np.linspace(0, rig.width - 1, n), np.linspace(0, rig.height - 1, n))
    return np.column_stack([u.ravel(), v.ravel()])


def test_a_camera_straight_above_by_hand():
    rig = rig_above(400.0)
    # u = 960 + 1500 * 40 / 400; bench y points away, pixel v down: v = 540 - 1480 * 20 / 400
    np.testing.assert_allclose(rig.to_pixels([[40, 20]], 0.0), [[1110.0, 466.0]], atol=1e-9)
    np.testing.assert_allclose(rig.camera_mm, [0, 0, 400], atol=1e-9)
    assert rig.px_per_mm() == pytest.approx(math.sqrt(1500 * 1480) / 400, rel=1e-12)


def test_height_moves_the_picture_as_the_pinhole_says():
    rig = rig_above(400.0)
    # 1.6 mm up: 398.4 mm away
    expected = [960 + 1500 * 40 / 398.4, 540 - 1480 * 20 / 398.4]
    np.testing.assert_allclose(rig.to_pixels([[40, 20]], 1.6)[0], expected, atol=1e-9)
    np.testing.assert_allclose(rig.to_bench([expected], 1.6), [[40, 20]], atol=1e-9)
    # The same pixel read on the bench lies further out by 400 / 398.4.
    np.testing.assert_allclose(
        rig.to_bench([expected], 0.0), [[40 * 400 / 398.4, 20 * 400 / 398.4]], atol=1e-9
    )


def test_a_tilted_camera_by_hand():
    # Looks down at 45 degrees away from the operator from (0, -300, 300): its
    # axis meets the bench at the origin, 300 sqrt 2 away.
    c = math.sqrt(0.5)
    rotation = np.array([[1, 0, 0], [0, -c, -c], [0, c, -c]])
    centre = np.array([0, -300.0, 300.0])
    rig = rig_above(
        rotation_vector=cv2.Rodrigues(rotation)[0].ravel(), translation_mm=-rotation @ centre
    )
    np.testing.assert_allclose(rig.camera_mm, centre, atol=1e-9)
    np.testing.assert_allclose(rig.to_pixels([[0, 0]], 0.0), [[960, 540]], atol=1e-6)
    # 100 mm straight under the axis point's far side: depth (400 + 300)/sqrt 2,
    # below the axis by (300 - 400)/sqrt 2 -> v = 540 - 1480 * 100 / 700
    np.testing.assert_allclose(
        rig.to_pixels([[0, 100]], 0.0), [[960, 540 - 1480 / 7]], atol=1e-6
    )


def test_pixels_at_and_over_the_horizon_and_points_behind_give_nan():
    # Looks straight along +y, level with the bench, 100 mm above it.
    rotation = np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    rig = rig_above(
        rotation_vector=cv2.Rodrigues(rotation)[0].ravel(),
        translation_mm=-rotation @ np.array([0, 0, 100.0]),
    )
    below, horizon, above = rig.to_bench([[960, 640], [960, 540], [960, 440]], 0.0)
    np.testing.assert_allclose(below, [0, 1480.0], rtol=1e-9)  # 100 mm * 1480 / 100 px
    assert np.isnan(horizon).all() or np.abs(horizon).max() > 1e9
    assert np.isnan(above).all()
    assert np.isnan(rig.project([[0, -50, 0]])).all()
    assert np.isnan(rig.project([[0, 0, 100]])).all()  # the camera's own centre


def test_spindle_lean():
    rig = dataclasses.replace(rig_above(), axis_mm=(10.0, -5.0), lean=(0.01, -0.02))
    np.testing.assert_allclose(rig.spindle_mm(0.0), [10, -5])
    np.testing.assert_allclose(rig.spindle_mm(1.6), [10.016, -5.032])
    assert rig_above().spindle_mm(1.6) is None


@pytest.mark.parametrize("lens", LENSES.values(), ids=LENSES.keys())
def test_the_lens_is_the_one_of_cv2(lens):
    """Against cv2.projectPoints, the model that the rig file's contract names."""
    rig = rig_above(lens=lens, rotation_vector=[3.0, 0.1, -0.2], translation_mm=[5, -7, 400])
    points = np.random.default_rng(1).uniform([-150, -90, -5], [150, 90, 5], (200, 3))
    other, _ = cv2.projectPoints(
        points.reshape(-1, 1, 3), rig.rotation_vector, rig.translation_mm, rig.matrix,
        rig.distortion,
    )  # fmt: skip
    np.testing.assert_allclose(rig.project(points), other.reshape(-1, 2), atol=1e-9)


@pytest.mark.parametrize("lens", LENSES.values(), ids=LENSES.keys())
def test_round_trips_over_the_whole_picture(lens):
    rig = rig_above(lens=lens, rotation_vector=[3.0, 0.1, -0.2], translation_mm=[5, -7, 400])
    pixels = grid(rig)
    assert np.abs(rig.distort(rig.undistort(pixels)) - pixels).max() < 1e-6
    for height in (0.0, 1.6, 12.0):
        assert np.abs(rig.to_pixels(rig.to_bench(pixels, height), height) - pixels).max() < 1e-6


def test_where_the_lens_model_folds_back_nothing_is_answered():
    """k1 = -1 bends r to r - r^3, largest 2 / (3 sqrt 3) at r = 1 / sqrt 3 (by hand)."""
    rig = rig_above(lens=(-1.0, 0, 0, 0, 0))
    limit = 2 / (3 * math.sqrt(3))
    inside, outside = 960 + 1500 * limit * np.array([0.999, 1.001])
    assert np.isfinite(rig.undistort([[inside, 540]])).all()
    assert np.isnan(rig.undistort([[outside, 540]])).all()
    # A far point must not come back into the picture: r = 0.9 bends to 0.171.
    assert np.isnan(rig.to_pixels([[400 * 0.9, 0]], 0.0)).all()
    assert np.isfinite(rig.to_pixels([[400 * 0.57, 0]], 0.0)).all()


def test_nothing_in_nothing_out():
    rig = rig_above(lens=LENSES["webcam"])
    empty = np.zeros((0, 2))
    for answer in (rig.undistort(empty), rig.distort(empty), rig.to_bench(empty, 0),
                   rig.to_pixels(empty, 0), rig.project(np.zeros((0, 3)))):  # fmt: skip
        assert answer.shape == (0, 2)


def test_wrong_shapes_are_misuse():
    with pytest.raises(ValueError, match="distortion"):
        rig_above(lens=(0.1, 0.2))
    with pytest.raises(ValueError, match="axis_mm"):
        rig_above(axis_mm=[1, 2, 3])


poses = st.tuples(
    st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.floats(-3.1, 3.1), st.floats(80, 900)
)
lenses = st.tuples(
    st.floats(-0.35, 0.4), st.floats(0.0, 0.2), st.floats(-0.01, 0.01), st.floats(-0.01, 0.01),
    st.floats(0.0, 0.05),
)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(poses, lenses, st.floats(-5, 30))
def test_any_pose_and_lens_goes_there_and_back(pose, lens, height):
    tilt_x, tilt_y, turn, distance = pose
    down = cv2.Rodrigues(np.array([math.pi, 0, 0]))[0]
    lean = cv2.Rodrigues(np.array([tilt_x, tilt_y, 0.0]))[0]
    spin = cv2.Rodrigues(np.array([0, 0, turn]))[0]
    rig = rig_above(
        lens=lens,
        rotation_vector=cv2.Rodrigues(lean @ down @ spin)[0].ravel(),
        translation_mm=[3, -4, distance],
    )
    pixels = grid(rig, 9)
    bench = rig.to_bench(pixels, height)
    seen = np.isfinite(bench).all(axis=1)
    assert seen[len(pixels) // 2]  # the middle always
    assert np.abs(rig.to_pixels(bench[seen], height) - pixels[seen]).max() < 1e-6
