"""Plane transforms against their definitions, for any numbers a bench can produce."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drillaid.geometry import Affine, Homography, as_points, wrap_angle_rad

coordinates = st.floats(-300, 300)
points = st.lists(st.tuples(coordinates, coordinates), min_size=1, max_size=8).map(as_points)
parts = st.fixed_dictionaries(
    {
        "rotation_rad": st.floats(-3.1, 3.1),
        "scale": st.tuples(st.floats(0.05, 50), st.floats(0.05, 50)),
        "shear": st.floats(-0.5, 0.5),
        "offset": st.tuples(coordinates, coordinates),
        "mirrored": st.booleans(),
    }
)
affines = parts.map(lambda given_parts: Affine.from_parts(**given_parts))


@st.composite
def homographies(draw) -> Homography:
    """Tilted, but with every point within 300 mm in front."""
    matrix = np.vstack([draw(affines).matrix, [0, 0, 1.0]])
    matrix[2, :2] = draw(st.floats(-1e-3, 1e-3)), draw(st.floats(-1e-3, 1e-3))
    return Homography(matrix)


def test_known_values():
    """A quarter turn, mirrored x, twice as large in y: worked out by hand."""
    turn = Affine.from_parts(rotation_rad=math.pi / 2, offset=(10, 20))
    assert turn([[1, 0], [0, 1]]) == pytest.approx(np.array([[10, 21], [9, 20]]))
    mirror = Affine.from_parts(mirrored=True, scale=(1, 2))
    assert mirror([[3, 4]]) == pytest.approx(np.array([[-3, 8]]))
    assert mirror.determinant == pytest.approx(-2)


@given(parts)
def test_the_split_gives_the_parts_back(given_parts):
    transform = Affine.from_parts(**given_parts)
    assert transform.mirrored == given_parts["mirrored"]
    assert transform.rotation_rad == pytest.approx(given_parts["rotation_rad"], abs=1e-9)
    assert transform.scale == pytest.approx(given_parts["scale"], rel=1e-9)
    assert transform.shear == pytest.approx(given_parts["shear"], abs=1e-9)
    assert tuple(transform.offset) == given_parts["offset"]


@given(affines, points)
def test_affine_inverse(transform, xy):
    assert np.allclose(transform.inverse(transform(xy)), xy, atol=1e-7)


@given(affines, affines, points)
def test_affine_composition(a, b, xy):
    assert np.allclose((a @ b)(xy), a(b(xy)), rtol=1e-9, atol=1e-7)


@given(homographies(), points)
def test_homography_inverse(transform, xy):
    assert np.allclose(transform.inverse(transform(xy)), xy, atol=1e-5)


@given(homographies(), affines, points)
def test_mixed_composition(homography, affine, xy):
    whole = homography @ affine
    expected = homography(affine(xy))
    assert np.allclose(whole(xy), expected, rtol=1e-7, atol=1e-6, equal_nan=True)
    assert np.allclose((affine @ homography)(xy), affine(homography(xy)), rtol=1e-7, atol=1e-6)


@given(homographies(), points)
def test_jacobian_is_the_slope(transform, xy):
    """Against central differences of the map itself."""
    step = 1e-4
    slopes = [
        (transform(xy + offset) - transform(xy - offset)) / (2 * step)
        for offset in (np.array([step, 0]), np.array([0, step]))
    ]
    told = transform.jacobian(xy)
    assert np.allclose(told, np.stack(slopes, axis=-1), rtol=1e-4, atol=1e-4 * np.abs(told).max())


def test_behind_the_horizon_there_is_nothing():
    tilted = Homography([[1, 0, 0], [0, 1, 0], [0.01, 0, 1]])
    mapped = tilted([[0, 0], [-100, 5], [-200, 5]])
    assert np.isfinite(mapped[0]).all() and np.isnan(mapped[1:]).all()


@pytest.mark.parametrize("factor", [1.0, -1.0, -3e-4, 250.0])
def test_a_matrix_of_unknown_sign_is_set_right(factor):
    matrix = np.array([[2, 0, 5], [0, 2, 6], [0.001, 0, 1.0]])
    here = [[0, 0], [10, 10]]
    assert Homography.scaled_for(factor * matrix, here)(here) == pytest.approx(
        Homography(matrix)(here)
    )


@given(st.floats(-1e4, 1e4))
def test_wrapped_angles(angle):
    wrapped = float(wrap_angle_rad(angle))
    assert -math.pi < wrapped <= math.pi
    assert math.cos(wrapped) == pytest.approx(math.cos(angle), abs=1e-9)
    assert math.sin(wrapped) == pytest.approx(math.sin(angle), abs=1e-9)


def test_half_a_turn_is_positive():
    assert float(wrap_angle_rad(-math.pi)) == pytest.approx(math.pi)


def test_points_in_any_dress():
    assert as_points([]).shape == (0, 2)
    assert as_points((1, 2)).shape == (1, 2)
    assert as_points([[1, 2], [3, 4]]).dtype == np.float64
    for wrong in ([1, 2, 3], [[1, 2, 3]], np.zeros((2, 2, 2))):
        with pytest.raises(ValueError, match="shape"):
            as_points(wrong)


def test_a_transform_cannot_be_changed_from_outside():
    matrix = np.array([[1.0, 0, 0], [0, 1, 0]])
    transform = Affine(matrix)
    matrix[0, 0] = 7
    assert transform.matrix[0, 0] == 1
    with pytest.raises(ValueError, match="read-only"):
        transform.matrix[0, 0] = 7
    with pytest.raises(ValueError, match="shape"):
        Affine([[1, 0], [0, 1]])
