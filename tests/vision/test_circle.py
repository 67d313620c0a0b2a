from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drillaid.vision.circle import fit_circle


def _arc(rng, count, radius, sigma, arc_rad=2 * np.pi, centre=(0.0, 0.0)):
    angle = np.arange(count) / count * arc_rad
    reach = radius + rng.normal(0, sigma, count)
    return np.column_stack([np.cos(angle), np.sin(angle)]) * reach[:, None] + centre


@settings(max_examples=60, deadline=None)
@given(
    st.floats(-1e3, 1e3), st.floats(-1e3, 1e3), st.floats(0.01, 500), st.floats(0.4, 6.28),
    st.integers(4, 40),
)
def test_exact_points_give_the_circle_back(x, y, radius, arc, count):
    angle = np.linspace(0, arc, count)
    circle = fit_circle(np.column_stack([x + radius * np.cos(angle), y + radius * np.sin(angle)]))
    scale = abs(x) + abs(y) + radius
    assert circle.centre == pytest.approx([x, y], abs=1e-7 * scale)
    assert circle.radius == pytest.approx(radius, abs=1e-7 * scale)


@pytest.mark.parametrize(("count", "radius", "sigma"), [(36, 10, 0.1), (100, 15, 0.2)])
def test_full_rim_reaches_the_known_bound_and_states_it(count, radius, sigma):
    # sd(x0) = sigma sqrt(2/N), sd(R) = sigma/sqrt(N): Chan & Thomas 1995, own recomputation
    rng = np.random.default_rng(5)
    fits = [fit_circle(_arc(rng, count, radius, sigma)) for _ in range(600)]
    x = np.array([c.centre[0] for c in fits])
    r = np.array([c.radius for c in fits])
    assert x.std() == pytest.approx(sigma * np.sqrt(2 / count), rel=0.1)
    assert r.std() == pytest.approx(sigma / np.sqrt(count), rel=0.1)
    stated = np.sqrt(np.mean([c.covariance[0, 0] for c in fits]))
    assert stated == pytest.approx(x.std(), rel=0.1)
    # the fit's own small bias sigma^2 / (2 R)
    assert r.mean() - radius == pytest.approx(sigma**2 / (2 * radius), abs=4 * r.std() / 600**0.5)


def test_a_quarter_rim_is_not_pulled_inwards_and_its_error_is_stated():
    rng = np.random.default_rng(8)
    fits = [fit_circle(_arc(rng, 60, 10, 0.3, np.pi / 2)) for _ in range(400)]
    centres = np.array([c.centre for c in fits])
    # an algebraic fit is 0.58 off on each axis here; 0.12 is 3 sigma of the mean
    assert np.abs(centres.mean(axis=0)).max() < 0.15
    stated = np.sqrt(np.mean([c.covariance[0, 0] + c.covariance[1, 1] for c in fits]))
    real = np.sqrt((centres**2).sum(axis=1).mean())
    assert 0.8 < stated / real < 1.25


def test_weights_of_zero_drop_points():
    rng = np.random.default_rng(1)
    points = np.vstack([_arc(rng, 30, 5, 0.0), [[50.0, 50.0]]])
    circle = fit_circle(points, [1.0] * 30 + [0.0])
    assert circle.radius == pytest.approx(5)
    assert circle.centre == pytest.approx([0, 0], abs=1e-9)


@pytest.mark.parametrize(
    "points", [[], [[0, 0], [1, 1]], [[2, 2]] * 5, [[0, 0], [1, 1], [2, 2], [3, 3]]]
)
def test_what_fixes_no_circle_is_none(points):
    assert fit_circle(points) is None


def test_three_points_promise_nothing():
    circle = fit_circle([[1, 0], [0, 1], [-1, 0]])
    assert circle.radius == pytest.approx(1)
    assert np.isinf(circle.covariance).all()


def test_weights_of_the_wrong_shape_are_refused():
    with pytest.raises(ValueError, match="weights"):
        fit_circle([[0, 0], [1, 0], [0, 1]], [1.0])
