from __future__ import annotations

import numpy as np
import pytest

from drillaid.guidance.view import View, hands_px_per_mm, upright_px_per_mm
from drillaid.simulation.rigs import nominal_rig


@pytest.mark.parametrize("side", [0.0, 1.5, 3.0, 4.5])
def test_a_push_to_the_right_goes_right_on_the_screen(side):
    """Whatever the rig: bench x to the right and y upwards, at the scale that is stated."""
    rig = nominal_rig(tilt_rad=0.2, tilt_direction_rad=side, seed=3)
    hands = hands_px_per_mm(rig, rig.axis_mm, 1.6)
    view = View.hands(hands, rig.to_pixels([rig.axis_mm], 1.6)[0], (600, 400), 14.0)
    at = view(rig.to_pixels(rig.axis_mm + np.array([[0, 0], [1, 0], [0, 1.0]]), 1.6))
    assert at[0] == pytest.approx([299.5, 199.5], abs=1e-6)
    # Perspective over one mm, against the tangent at the axis.
    assert at[1] - at[0] == pytest.approx([view.px_per_mm, 0], abs=0.4)
    assert at[2] - at[0] == pytest.approx([0, -view.px_per_mm], abs=0.4)
    assert view.px_per_mm == pytest.approx(400 / 14)


@pytest.mark.parametrize("turns", range(4))
def test_the_whole_picture_is_seen_in_quarter_turns(turns):
    view = View.whole((1920, 1080), (800, 500), upright_px_per_mm(16.0, turns))
    corners = view(np.array([[0, 0], [1919, 0], [1919, 1079], [0, 1079.0]]))
    assert corners.min() >= -1 and (corners <= [800, 500]).all()
    first = corners[1] - corners[0]
    way = np.array([[1, 0], [0, -1], [-1, 0], [0, 1]])[turns]
    assert first / np.hypot(*first) == pytest.approx(way, abs=1e-9)


def test_the_picture_is_laid_as_the_points_are():
    image = np.zeros((300, 400, 3), np.uint8)
    image[100:103, 250:253] = 255
    view = View.hands(upright_px_per_mm(10.0), (251, 101), (200, 200), 5.0)
    shown = view.picture(image)[..., 0]
    v, u = np.nonzero(shown > 200)
    assert (u.mean(), v.mean()) == pytest.approx((99.5, 99.5), abs=0.6)
    assert view([(251, 101)])[0] == pytest.approx((99.5, 99.5))


def test_the_view_closes_in_with_the_target():
    from drillaid.guidance.view import CLOSE_MM, FAR_MM, closing_in_mm

    seen = [closing_in_mm(d) for d in (None, 40.0, 3.0, 1.5, 0.9, 0.5, 0.0)]
    assert seen[0] == seen[1] == FAR_MM and seen[-1] == CLOSE_MM
    assert seen == sorted(seen, reverse=True)
    # The target stays in the picture on the way: half of the view is wider than its distance.
    assert all(closing_in_mm(d) / 2 > d for d in (0.1, 1.0, 2.0, FAR_MM / 2 - 0.1))
