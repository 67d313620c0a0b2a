from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drillaid.design.model import Land
from drillaid.design.ring import breakout_deg, depth_mm, land_breakout_deg, ring_left

SHAPES = st.sampled_from(["round", "rectangle", "oblong", "octagon", "other"])
SIZES = st.floats(0.5, 4.0)


def lands():
    return st.builds(
        lambda shape, w, h, turn, x, y: Land(shape, (w, w if shape == "round" else h), turn, (x, y)),
        SHAPES, SIZES, SIZES, st.floats(-7, 7), st.floats(-50, 50), st.floats(-50, 50),
    )  # fmt: skip


@given(lands())
def test_at_the_centre_half_the_short_side_is_left(land):
    assert depth_mm(land, land.centre_mm)[0] == pytest.approx(min(land.size_mm) / 2, abs=1e-9)


@given(lands(), st.floats(0, 6.3), st.floats(0, 3), st.floats(0.001, 0.2))
def test_depth_changes_no_faster_than_the_point_moves(land, angle, radius, step):
    """A distance is 1-Lipschitz; a wrong corner or axis would break this or the next test."""
    start = np.array(land.centre_mm) + radius * np.array([math.cos(angle), math.sin(angle)])
    moved = start + step * np.array([math.sin(3 * angle), math.cos(3 * angle)])
    before, after = depth_mm(land, [start, moved])
    assert abs(before - after) <= step + 1e-9


@pytest.mark.parametrize(
    "land, point, depth",
    [
        (Land("rectangle", (2, 1)), (0.9, 0), 0.1),
        (Land("rectangle", (2, 1)), (1.3, 0.9), -0.5),  # 3-4-5 off the corner
        (Land("rectangle", (2, 1), math.pi / 2), (0, 0.9), 0.1),
        (Land("oblong", (3, 1)), (1.4, 0), 0.1),
        (Land("oblong", (3, 1), math.pi / 2, (10, 10)), (10, 11.4), 0.1),
        (Land("oblong", (3, 1)), (1.3, 0.4), 0.0),
        (Land("octagon", (2, 2)), (1.0, 0.0), 0.0),
        (Land("octagon", (2, 2)), (math.sqrt(0.5), math.sqrt(0.5)), 0.0),  # flats at 45° too
        (Land("octagon", (2, 2)), (0.5, 0.5), 1 - math.sqrt(0.5)),
    ],
)
def test_depth_by_hand(land, point, depth):
    assert depth_mm(land, point)[0] == pytest.approx(depth, abs=1e-9)


@given(st.floats(0.3, 3), st.floats(0.1, 2), st.floats(0, 3))
def test_counted_breakout_agrees_with_the_formula(land_d, hole_d, offset):
    counted = land_breakout_deg(Land("round", (land_d, land_d)), (0, offset), hole_d, steps=7200)
    formula = breakout_deg(land_d / 2, hole_d / 2, offset)
    tangent = min(abs(offset - abs(land_d - hole_d) / 2), abs(offset - (land_d + hole_d) / 2))
    if tangent > 1e-6:  # where circles just touch, rounding decides
        assert counted == pytest.approx(formula, abs=0.11)  # two crossings, 0.05 degree steps


def test_a_slot_is_as_good_as_its_worse_end():
    land = Land("oblong", (4, 2))
    assert ring_left(land, (-1, 0), 1.0, slot_to_mm=(1, 0)) == pytest.approx(0.5)
    assert ring_left(land, (-1, 0), 1.0, slot_to_mm=(1.3, 0)) == pytest.approx(0.2)


def test_breakout_needs_radii():
    with pytest.raises(ValueError, match="radius"):
        breakout_deg(0, 0.4, 0)
