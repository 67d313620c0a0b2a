"""Drill and netlist numbers whose meaning stands in public documents.

Each row names where the text and its meaning are published. "Second hand" means
the primary document quoted there was not seen.
"""

from __future__ import annotations

import pytest

from drillaid.design.drill import read_drill
from drillaid.design.drill_format import NumberFormat
from drillaid.design.netlist import read_netlist

INCH = 25.4


def drill(text: str):
    return read_drill(text.encode(), "board.drl")


def inches(found) -> list[tuple[float, float]]:
    return [
        (pytest.approx(spot.x_mm / INCH, abs=1e-7), pytest.approx(spot.y_mm / INCH, abs=1e-7))
        for spot in found.spots
    ]


@pytest.mark.parametrize(
    "zeros, text",
    # Source: table in issue 195 of an open Gerber viewer (second hand): 1.5 inch at 00.0000.
    [("LZ", "015000"), ("TZ", "015000"), ("TZ", "15000"), ("LZ", "015")],
)
def test_one_and_a_half_inch(zeros, text):
    assert NumberFormat("inch", zeros, 2, 4).decoder()(text) == pytest.approx(1.5 * INCH)


def test_two_five_leading_zeros_kept():
    # Source: issue 174 of the same viewer (second hand).
    found = drill(
        "M48\n;FILE_FORMAT=2:5\nINCH,LZ\nT01C0.03\n%\nT01\nX006281Y0025273\nX0060743\nM30\n"
    )
    assert inches(found) == [(0.6281, 0.25273), (0.60743, 0.25273)]
    assert found.warnings == ()


def test_sample_of_a_board_house():
    # Source: sample NC file at e-pcb.com/nc_sample.html (second hand).
    found = drill(
        "M48\nM72, LZ\nT03C0.038\nT06C0.046\n%\nT03\nX00581Y0122\nT06\nX01657Y03295\nM30\n"
    )
    assert inches(found) == [(0.581, 1.22), (1.657, 3.295)]
    assert [spot.drill_mm for spot in found.spots] == pytest.approx([0.038 * INCH, 0.046 * INCH])
    assert found.warnings == () and not found.decided


def test_routed_slot():
    # Source: a public exported slot file, METRIC,LZ with four digits on either side.
    found = drill(
        "M48\n;FILE_FORMAT=4:4\nMETRIC,LZ\nT03C0.8\n%\nT03\n"
        "G00X0185225Y009495\nM15\nG01Y00972\nM16\nG05\nM30\n"
    )
    (slot,) = found.spots
    assert (slot.x_mm, slot.y_mm) == pytest.approx((185.225, 94.95))
    assert slot.slot_to_mm == pytest.approx((185.225, 97.2))
    assert slot.drill_mm == 0.8 and found.warnings == ()


def test_header_without_lz_or_tz_is_decided_and_told():
    # Source: a public exported drill file: M72 alone, T01C0.0236, X9250Y4064.
    # (0.925, 0.4064) inch only if trailing zeros were kept, which nothing in it says.
    found = drill("M48\nM72\nT01C0.0236\n%\nT01\nX9250Y4064\nM30\n")
    assert inches(found) == [(0.925, 0.4064)]
    assert found.decided
    (warning,) = found.warnings
    assert "LZ or TZ" in warning and "inch 2.4, trailing zeros kept" in warning


def test_slot_between_two_points():
    # Source: a public paste (SjYTFvE8), INCH,TZ.
    found = drill("M48\nINCH,TZ\nT10C0.040\n%\nT10\nX056900Y018250G85X056100Y018250\nM30\n")
    (slot,) = found.spots
    assert (slot.x_mm / INCH, slot.y_mm / INCH) == pytest.approx((5.69, 1.825))
    assert slot.slot_to_mm == pytest.approx((5.61 * INCH, 1.825 * INCH))
    assert slot.drill_mm == pytest.approx(0.04 * INCH) and found.warnings == ()


def test_tool_line_with_feed_and_speed():
    # Source: manual of the format as quoted in the header of an open viewer's source
    # (second hand): T1C.04F200S65 is a 0.040 inch tool.
    found = drill("M48\nINCH,LZ\nT1C.04F200S65\n%\nT1\nX01Y01\nM30\n")
    assert found.spots[0].drill_mm == pytest.approx(1.016)


def test_repeat_counts_the_holes_that_follow():
    # Source: the same manual: R50X004 drills 50 more holes, each 00.4 inch (LZ) further.
    found = drill("M48\nINCH,LZ\nT1C.04\n%\nT1\nX01Y01\nR50X004\nM30\n")
    assert len(found.spots) == 51
    assert found.spots[-1].x_mm == pytest.approx((1 + 50 * 0.4) * INCH)


def test_pattern_offsets_count_from_the_last_pattern():
    # Source: the same manual, "Repeat Pattern Offset": M02 is incremental, X#Y# is
    # the distance from the beginning of the last pattern; M25, M01, M02…, M02, M08.
    found = drill(
        "M48\nINCH,LZ\nT4C.04\n%\nT4\nM25\nX01Y018\nR2Y-001\nM01\n"
        "M02X002\nM02Y003\nR2M02X01\nM02\nM08\nM30\n"
    )
    assert len(found.spots) == 3 * 5
    starts = inches(found)[::3]
    assert starts == [(1.0, 1.8), (1.2, 1.8), (1.2, 2.1), (2.2, 2.1), (3.2, 2.1)]


def test_coordinate_without_digits_is_zero():
    # Source: the same manual's test program: the block XY drills at program zero.
    found = drill("M48\nINCH,LZ\nT7C.04\n%\nT7\nX009Y046\nXY\nM30\n")
    assert inches(found) == [(0.9, 4.6), (0.0, 0.0)]


# -- IPC-D-356A -----------------------------------------------------------------

# Source: artwork.com/gerber/netex-g/ipc356 (second hand); columns as there.
THROUGH_HOLE = "317+3.3V            J13   -2    D0400PA00X+043550Y+006480"


def netlist(*records: str):
    return read_netlist("\n".join(["P  UNITS CUST 0", *records, "999"]).encode(), "board.ipc")


def test_through_hole_record():
    (spot,) = netlist(THROUGH_HOLE).spots
    assert (spot.x_mm, spot.y_mm) == pytest.approx((110.617, 16.4592))
    assert spot.drill_mm == pytest.approx(1.016) and spot.plated is True


def test_second_record_of_the_same_source():
    (spot,) = netlist("317VIA              VIA         D0098PA00X+023895Y+022535").spots
    assert (spot.x_mm, spot.y_mm) == pytest.approx((60.6933, 57.2389))


def test_round_land_of_twelve_mils():
    # Source: the sample record …A01X+020114Y+014930X0120Y    R090 S1 of the same page,
    # here with a hole of 6 mils so that it is a drilled one.
    found = netlist("317NET              R1    -1    D0060PA01X+020114Y+014930X0120Y    R090 S1")
    land = found.spots[0].land
    assert land.shape == "round" and land.size_mm == pytest.approx((0.3048, 0.3048))


def test_diameters_written_in_mils_are_noticed():
    # Source: a public exported netlist that writes D  24P beside places in 0.0001 inch:
    # 24 mil, not 2.4 mil; blanks stand for signs and zeros.
    found = netlist("317NET              J1    -1    D  24PA00X  43550Y   6480")
    (spot,) = found.spots
    assert spot.drill_mm == pytest.approx(0.6096)
    assert (spot.x_mm, spot.y_mm) == pytest.approx((110.617, 16.4592))
    assert "mils" in found.warnings[0]
