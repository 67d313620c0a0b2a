"""Hole tables: separators, headings, units; told or refused where they are silent."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drillaid.design.csv_holes import looks_like_table, read_csv
from drillaid.design.text import numbered_lines
from drillaid.errors import DesignError

UNIT_MM = {"mm": 1.0, "inch": 25.4, "mil": 0.0254}


def read(text: str):
    return read_csv(text.encode(), "holes.csv")


def rows(found):
    return [(round(s.x_mm, 6), round(s.y_mm, 6), round(s.drill_mm, 6)) for s in found.spots]


@pytest.mark.parametrize(
    "text",
    [
        "x_mm,y_mm,diameter_mm\n1.5,2,0.8\n",
        "X (mm);Y (mm);Drill (mm)\n1,5;2;0,8\n",
        "# units: mm\nx\ty\tdia\n1.5\t2\t0.8\n",
        "units,mm\nx,y,hole\n1.5,2,0.8\n",
        '"Pos X [mm]","Pos Y [mm]","Hole Size [mm]"\n"1.5","2","0.8"\n',
        "No;X/mm;Y/mm;d/mm;Note\n1;1.5;2;0.8;corner\n",
        "x,y,drill\n1.5mm,2 mm,0.8mm\n",
        "x mils|y mils|d mils\n59.0551181|78.7401575|31.4960630\n",
        "x in,y in,drill size in\n0.05905512,.07874016,0.03149606\n",
        'x,y,d\n.05905512",.07874016",.03149606"\n',
        "hole,x_mm,y_mm,diameter_mm\n1,1.5,2,0.8\n",
    ],
)
def test_spellings(text):
    found = read(text)
    assert rows(found) == [pytest.approx((1.5, 2.0, 0.8), abs=1e-6)] and found.warnings == ()


def test_lines_plating_and_slots():
    found = read(
        "# made by hand\nx_mm,y_mm,diameter_mm,plated,x2,y2\n"
        "1,2,0.8,yes,,\n\n3,2,1.0,NPTH,4,2\n5,2,1.0,,,\n"
    )
    assert [s.plated for s in found.spots] == [True, False, None]
    assert [s.line for s in found.spots] == [3, 5, 6]
    assert [s.slot_to_mm for s in found.spots] == [None, (4.0, 2.0), None]


@pytest.mark.parametrize("unit", ["mm", "inch", "mil"])
@pytest.mark.parametrize("heading", ["x,y,diameter\n", ""])
def test_missing_unit_is_decided_and_told(unit, heading):
    grid = [(2.54 * i, 2.54 * j) for i in range(1, 12) for j in (1, 2, 5)]
    size = UNIT_MM[unit]
    text = heading + "".join(f"{x / size:.5f},{y / size:.5f},{0.9 / size:.5f}\n" for x, y in grid)
    found = read(text)
    assert found.units == unit and found.decided
    assert found.spots[0].drill_mm == pytest.approx(0.9, abs=1e-3)
    assert f"read as {unit}" in found.warnings[0]


@pytest.mark.parametrize(
    "text, line, word",
    [
        ("x_mm,y_mm,diameter_mm\n1,2\n", 2, "no diameter"),
        ("x_mm,y_mm,diameter_mm\n1,nan,0.8\n", 2, "no number"),
        ("x_mm,y_mm,diameter_mm\ninf,2,0.8\n", 2, "no number"),
        ("x_mm,y_mm,diameter_mm\n1e999,2,0.8\n", 2, "no number"),
        ("x_mm,y_mm,diameter_mm\n1e9,2,0.8\n", 2, "origin"),
        ("x_mm,y_mm,diameter_mm\n1,2,0\n", 2, "diameter of 0 mm"),
        ("x_mm,y_mm,diameter_mm\n1,2,-0.8\n", 2, "diameter of -0.8"),
        ("x_mm,y_mm,diameter_mm\n1,2,80\n", 2, "diameter of 80"),
        ("x_mm;y_mm;diameter_mm\n1.234,5;2;0,8\n", 2, "no number"),
        ("x_mm,y_mm,diameter_mm,plated\n1,2,0.8,perhaps\n", 2, "plated"),
        ("x_mm,y_mm,diameter_mm,x2\n1,2,0.8,3\n", 2, "x2 and y2"),
        ("x_mm,y_inch,diameter_mm\n1,2,0.8\n", 1, "different units"),
        ("x_mm,y_mm,note\n1,2,b\n", 1, "column for diameter"),
        ("hole,x_mm,y_mm\n1,1,2\n2,2,2\n", 1, "column for diameter"),
        ("1,2,0.8,7\n", 1, "4 columns"),
        ("# nothing\n", None, "no holes"),
    ],
)
def test_refused(text, line, word):
    with pytest.raises(DesignError) as caught:
        read(text)
    assert word in str(caught.value), str(caught.value)
    assert caught.value.line == line and caught.value.remedy


def test_unit_that_nothing_settles_is_refused():
    # 10 to 30 by 5 with 1.0: ten inches or a centimetre; one hole size fits both badly
    with pytest.raises(DesignError, match="units: mm"):
        read("x,y,diameter\n10,10,0.2\n11,10,0.2\n")


def test_place_lists_are_no_hole_tables():
    lines = numbered_lines(b"Designator,Mid X,Mid Y,Layer,Rotation\nR1,1.5mm,2mm,top,90\n", "p.csv")
    assert looks_like_table(lines) is None
    lines = numbered_lines(b"x_mm,y_mm,drill\n1,2,0.8\n", "h.csv")
    assert looks_like_table(lines) == "headed"


places = st.lists(
    st.tuples(
        st.integers(-300_000, 300_000), st.integers(-300_000, 300_000), st.integers(300, 6000)
    ),
    min_size=1,
    max_size=30,
)


@settings(max_examples=60, deadline=None)
@given(places, st.sampled_from(list(UNIT_MM)), st.sampled_from([",", ";", "\t"]), st.booleans())
def test_written_tables_come_back(holes, unit, separator, decimal_comma):
    lines = [separator.join(f"{name}_{unit}" for name in ("x", "y", "diameter"))]
    for hole in holes:
        cells = [f"{value / 1000 / UNIT_MM[unit]:.7f}" for value in hole]
        if decimal_comma and separator != ",":
            cells = [cell.replace(".", ",") for cell in cells]
        lines.append(separator.join(cells))
    found = read("\n".join(lines))
    for spot, (x, y, drill) in zip(found.spots, holes, strict=True):
        assert math.dist((spot.x_mm, spot.y_mm), (x / 1000, y / 1000)) < 1e-5
        assert math.isclose(spot.drill_mm, drill / 1000, abs_tol=1e-5)
