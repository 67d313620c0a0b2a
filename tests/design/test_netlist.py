"""IPC-D-356A: records, units and lands; columns checked in tests/published."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drillaid.design.netlist import looks_like_netlist, read_netlist
from drillaid.design.parts import find_parts
from drillaid.design.read import read_design
from drillaid.design.text import numbered_lines
from drillaid.errors import DesignError


def record(op, hole, plated, x, y, width=None, height=None, turn=None) -> str:
    text = f"{op}{'NET1':<14}   {'J1':<6}-{'1':<4} D{hole:04d}{plated}A00X{x:+07d}Y{y:+07d}"
    if width is not None:
        text += f"X{width:04d}" + (f"Y{height:04d}" if height else "     ")
        text += "" if turn is None else f"R{turn:03d}"
    return text


def read(*records: str, units: str | None = "P  UNITS CUST 1"):
    lines = ["C  a comment", *([units] if units else []), *records, "999"]
    return read_netlist("\n".join(lines).encode(), "board.ipc")


def test_columns_of_our_own_records():
    text = record(317, 400, "P", 43550, 6480)
    assert text[32] == "D" and text[37] == "P" and text[41] == "X" and text[49] == "Y"


def test_holes_plating_and_lands():
    found = read(
        record(317, 800, "P", 10_000, -5_000, 1_600),
        record(317, 1000, "U", 20_000, 0, 1_800, 2_500, 45),
        "327NET1              C1    -1          A01X+010000Y+010000X0600Y0600",
        record(367, 3200, "U", 50_000, 50_000),
    )
    assert [(s.x_mm, s.y_mm, s.drill_mm) for s in found.spots] == [
        pytest.approx(row) for row in [(10, -5, 0.8), (20, 0, 1.0), (50, 50, 3.2)]
    ]
    assert [s.plated for s in found.spots] == [True, False, False]
    assert [s.line for s in found.spots] == [3, 4, 6]
    round_land, rectangle, none = (s.land for s in found.spots)
    assert round_land.shape == "round" and round_land.size_mm == pytest.approx((1.6, 1.6))
    assert rectangle.shape == "rectangle" and rectangle.size_mm == pytest.approx((1.8, 2.5))
    assert rectangle.rotation_rad == pytest.approx(math.pi / 4) and none is None
    assert found.warnings == ()


def test_a_hole_listed_from_both_sides_is_one_hole():
    same = record(317, 800, "P", 10_000, 5_000)
    assert len(read(same, same.replace("A00", "A02")).spots) == 1


def grid(step_mm: float):
    return [
        record(317, round(0.9 / step_mm), "P", round(2.54 * i / step_mm), round(2.54 * j / step_mm))
        for i in range(2, 14)
        for j in (2, 5)
    ]


@pytest.mark.parametrize("step_mm, word", [(0.00254, "inch"), (0.001, "metric")])
def test_missing_units_are_decided_and_told(step_mm, word):
    found = read(*grid(step_mm), units=None)
    assert found.units.startswith(word) and "no P UNITS" in found.warnings[0]
    assert found.spots[0].drill_mm == pytest.approx(0.9, abs=0.002)


def test_units_on_which_sources_disagree_are_decided_and_told():
    found = read(*grid(0.00254), units="P  UNITS CUST 2")
    assert found.units == "inch, 0.0001" and "disagree" in found.warnings[0]


@pytest.mark.parametrize(
    "records, line, word",
    [
        ([record(317, 800, "P", 1000, 1000)[:45]], 3, "columns"),
        ([record(317, 0, "P", 1000, 1000)], 3, "without diameter"),
        ([record(317, 800, "P", 1000, 1000).replace("X+001000", "X+00 1 0")], 3, "without"),
        (["P  UNITS CUST 0"], 3, "contradicts"),
        (["P  UNITS CUST 7"], 3, "unknown"),
    ],
)
def test_refused(records, line, word):
    with pytest.raises(DesignError) as caught:
        read(*records)
    assert caught.value.line == line and word in caught.value.what and caught.value.remedy


def test_recognised_by_records_not_by_name():
    assert looks_like_netlist(numbered_lines(record(317, 8, "P", 1, 1).encode(), "x.txt"))
    assert not looks_like_netlist(numbered_lines(b"317 pages of text\nP.S. units\n", "x.ipc"))


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(300, 6000), st.integers(-300_000, 300_000), st.integers(-300_000, 300_000)
        ),
        min_size=1,
        max_size=30,
        unique=True,
    )
)
def test_written_records_come_back(holes):
    found = read(*(record(317, *hole[:1], "P", *hole[1:]) for hole in holes))
    for spot, (hole, x, y) in zip(found.spots, holes, strict=True):
        assert (spot.x_mm, spot.y_mm) == pytest.approx((x / 1000, y / 1000))
        assert spot.drill_mm == pytest.approx(hole / 1000)


def test_the_component_stands_with_its_hole():
    """Columns 21 to 26, '-' and a pin; the sample is from artwork.com/gerber/netex-g/ipc356."""
    sample = "317+3.3V            J13   -2    D0400PA00X+043550Y+006480"
    via = "317NET2             VIA   -     D0098PA00X+023895Y+022535"
    loose = "317NET3                         D0098PA00X+033895Y+022535"
    spots = read(sample, via, loose, units="P  UNITS CUST 0").spots
    assert [s.component for s in spots] == ["J13", "", ""]


def test_a_netlist_names_the_holes_of_a_drill_file(tmp_path):
    rows = [record(317, 800, "P", 10_000 + 2540 * k, 5_000) for k in range(4)]
    rows = [text.replace("J1", f"R{k + 1}", 1) for k, text in enumerate(rows)]
    netlist = tmp_path / "board.ipc"
    netlist.write_text("\n".join(["P  UNITS CUST 1", *rows, "999"]))
    places = "".join(f"X{10 + 2.54 * k:.2f}Y5.0\n" for k in range(4))
    (tmp_path / "board.drl").write_text(f"M48\nMETRIC\nT1C0.800\n%\nT1\n{places}M30\n")
    bare = read_design([tmp_path / "board.drl"])
    assert len(find_parts(bare)) == 1
    named = read_design([tmp_path])  # the whole folder
    assert any("gave the names of components" in warning for warning in named.warnings)
    assert [hole.component for hole in named.holes] == ["R1", "R2", "R3", "R4"]
    assert find_parts(named) == ()  # four components are not one part
    # a netlist that counts from elsewhere names nothing
    netlist.write_text(netlist.read_text().replace("Y+005000", "Y+006000"))
    away = read_design([tmp_path])
    assert not any(hole.component for hole in away.holes)
    assert len(find_parts(away)) == 1
