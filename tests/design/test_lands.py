from __future__ import annotations

import math

import pytest
from support import etched_board

from drillaid.design.gerber import read_copper
from drillaid.design.lands import lands_at
from drillaid.design.model import Hole
from drillaid.design.ring import ring_left

MM = "%FSLAX46Y46*%%MOMM*%G01*G75*"


def layer(commands: str):
    return read_copper((MM + commands + "M02*").encode(), "drawn.gbr", "bottom")


def land(commands: str, x=0.0, y=0.0, drill=0.8, slot=None):
    return lands_at([Hole(1, x, y, drill, slot_to_mm=slot)], layer(commands))[0]


def region(*corners) -> str:
    at = [f"X{round(x * 1e6)}Y{round(y * 1e6)}" for x, y in corners]
    return "G36*" + at[0] + "D02*" + "".join(a + "D01*" for a in [*at[1:], at[0]]) + "G37*"


POUR = region((-20, -20), (20, -20), (20, 20), (-20, 20))


def test_a_flash_over_the_hole():
    found = land("%ADD10O,3X1.6*%D10*X100000Y0D03*")
    assert (found.shape, found.size_mm, found.in_pour) == ("oblong", (3.0, 1.6), False)
    assert found.centre_mm == pytest.approx((0.1, 0))


def test_the_nearest_of_two_flashes_and_the_larger_of_two_at_one_place():
    near = land("%ADD10C,2*%%ADD11R,2X2*%D10*X0Y0D03*D11*X900000Y0D03*")
    assert near.shape == "round"
    wide = land("%ADD10C,1.2*%%ADD11R,2X2*%D10*X0Y0D03*D11*X0Y0D03*")
    assert wide.shape == "rectangle"


def test_a_hole_beside_every_flash_has_no_land():
    assert land("%ADD10C,1*%D10*X3000000Y0D03*") is None


def test_a_fat_short_line_is_a_pad_and_a_track_is_not():
    assert land("%ADD10C,1.6*%D10*X-600000Y0D02*X600000D01*").shape == "oblong"
    track = land("%ADD10C,1.6*%D10*X0Y0D02*X20000000D01*")
    # the track ends in a half circle round the hole: what the picture shows, no more
    assert track.shape == "round"
    assert track.size_mm[0] == pytest.approx(1.6, abs=0.06)


def test_a_thin_track_over_the_hole_is_no_land():
    assert land("%ADD10C,0.5*%D10*X-5000000Y0D02*X5000000D01*") is None


def test_a_filled_outline_is_a_pad():
    found = land(region((-1, -0.9), (1, -0.9), (1, 0.9), (-1, 0.9)))
    assert (found.shape, found.in_pour) == ("rectangle", False)
    assert found.size_mm == pytest.approx((2.0, 1.8), abs=0.01)


def test_a_pad_painted_with_many_thin_strokes_is_read_off_the_picture():
    strokes = "".join(
        f"X{-math.sqrt(1 - y * y) * 1e6:.0f}Y{y * 1e6:.0f}D02*X{math.sqrt(1 - y * y) * 1e6:.0f}D01*"
        for y in [k / 20 for k in range(-19, 20)]
    )
    found = land("%ADD10C,0.1*%D10*" + strokes)
    assert found.shape == "round"
    assert found.size_mm[0] == pytest.approx(2.05, abs=0.12)


def test_in_a_pour_without_clearance():
    assert land(POUR).in_pour
    assert land(POUR + "%ADD10C,1.6*%D10*X0Y0D03*").in_pour
    assert land(POUR + "%ADD10R,1.6X2.4*%D10*X0Y0D03*").in_pour


def test_clearance_or_spokes_keep_a_land_out_of_the_pour():
    clear = POUR + "%LPC*%%ADD11C,2.4*%D11*X0Y0D03*%LPD*%%ADD10C,1.6*%D10*X0Y0D03*"
    assert not land(clear).in_pour
    spokes = clear + "%ADD12C,0.4*%D12*X-1500000Y0D02*X1500000D01*X0Y-1500000D02*Y1500000D01*"
    assert not land(spokes).in_pour


def test_a_hole_in_an_opening_of_the_pour_has_no_land():
    opening = POUR + "%LPC*%%ADD11C,3.6*%D11*X0Y0D03*"
    assert land(opening, drill=3.2) is None


def test_an_opening_smaller_than_the_hole_changes_nothing():
    """Centre marks for the drill are bare spots in the copper."""
    marked = POUR + "%LPC*%%ADD11C,0.5*%D11*X0Y0D03*"
    assert land(marked).in_pour


def test_slots_need_both_ends_inside():
    pad = "%ADD10O,4X2*%D10*X0Y0D03*"
    assert land(pad, -1, 0, 1.0, slot=(1, 0)).shape == "oblong"
    assert land(pad, -1, 0, 1.0, slot=(5, 0)) is None
    drawn = land(region((-3, -1), (3, -1), (3, 1), (-3, 1)) + POUR, -1, 0, 1.0, slot=(1, 0))
    assert drawn.in_pour


def test_a_slot_read_off_the_picture():
    two = "%ADD10C,2*%D10*X-1000000Y0D03*X1000000Y0D03*%ADD11C,1.2*%D11*X-900000Y0D02*X900000D01*"
    found = land(two, -1, 0, 1.0, slot=(1, 0))
    assert found.shape == "oblong"
    assert found.size_mm[0] > found.size_mm[1] >= 1.15


@etched_board.needed
@pytest.mark.parametrize("which", ["B_Cu", "F_Cu"])
def test_a_real_board(which):
    """All 116 plated holes have a land, the 10 mechanical ones have none."""
    holes = etched_board.holes()
    found = lands_at(holes, read_copper(*etched_board.layer(which), which))
    assert len(holes) == 126
    assert [h.plated for h, one in zip(holes, found, strict=True) if one is None] == [False] * 10
    for hole, one in zip(holes, found, strict=True):
        assert one is None or ring_left(one, hole.xy_mm, hole.drill_mm) > 0.12
    sizes = {one.size_mm for h, one in zip(holes, found, strict=True) if h.drill_mm == 1.02}
    assert sizes == {(1.7, 1.7), (2.0, 2.0)}
