"""Dialects of NC drill files: what is read, what is told, what is refused."""

from __future__ import annotations

import math

import pytest

from drillaid.design.drill import read_drill
from drillaid.design.evidence import Extent
from drillaid.errors import DesignError

HEADER = "M48\nFMAT,2\nMETRIC\nT1C0.8\nT2C1.0\n%\nG90\n"
END = "\nT0\nM30\n"


def read(body: str, header: str = HEADER, end: str = END, extent: Extent | None = None):
    return read_drill((header + body + end).encode(), "board.drl", extent)


def places(found) -> list[tuple[float, float]]:
    return [(round(s.x_mm, 6), round(s.y_mm, 6)) for s in found.spots]


def same(found, points, within_mm: float = 1e-6) -> bool:
    if len(found.spots) != len(points):
        return False
    pairs = zip(found.spots, points, strict=True)
    return all(math.dist((s.x_mm, s.y_mm), point) <= within_mm for s, point in pairs)


def refusal(body: str, header: str = HEADER, end: str = END) -> DesignError:
    with pytest.raises(DesignError) as caught:
        read(body, header, end)
    assert caught.value.file == "board.drl" and caught.value.remedy
    return caught.value


# -- places -------------------------------------------------------------------


def test_left_out_coordinates_stay():
    found = read("T1\nX10.0Y5.0\nX12.0\nY7.0\nT2\nX-1.5Y+2.")
    assert places(found) == [(10, 5), (12, 5), (12, 7), (-1.5, 2)]
    assert [s.drill_mm for s in found.spots] == [0.8, 0.8, 0.8, 1.0]
    assert [s.line for s in found.spots] == [9, 10, 11, 13]
    assert found.warnings == () and found.units == "metric, decimal points"


@pytest.mark.parametrize(
    "body", ["T01\nX1.0Y2.0", "t1\nx1.0y2.0", "T1\n X 1.0 Y 2.0", "T1X1.0Y2.0"]
)
def test_spellings_of_a_tool_and_a_place(body):
    assert places(read(body)) == [(1, 2)]


def test_four_digit_tool_carries_its_compensation_index():
    assert read("T0202\nX1.0Y2.0").spots[0].drill_mm == 1.0


def test_tool_defined_in_the_body():
    found = read("T3C1.3F200S65\nX1.0Y2.0\nT4F20S1C.9\nX2.0Y2.0")
    assert [s.drill_mm for s in found.spots] == [1.3, 0.9]


def test_incremental_steps():
    found = read("T1\nX10.0Y5.0\nG91\nX1.0\nY-2.0\nX1.0Y1.0\nG90\nX0.5Y0.5")
    assert places(found) == [(10, 5), (11, 5), (11, 3), (12, 4), (0.5, 0.5)]


def test_incremental_from_the_header():
    header = "M48\nMETRIC\nICI,ON\nT1C0.8\n%\n"
    assert places(read("T1\nX1.0Y1.0\nX1.0Y1.0", header)) == [(1, 1), (2, 2)]


def test_zero_set_moves_what_follows():
    assert places(read("T1\nX1.0Y1.0\nG93X10.0Y20.0\nX1.0Y1.0")) == [(1, 1), (11, 21)]


def test_repeats_follow_each_other():
    found = read("T1\nX1.0Y1.0\nR2X2.54\nR1Y5.0")
    assert places(found) == [(1, 1), (3.54, 1), (6.08, 1), (6.08, 6)]


def test_slots_of_both_spellings():
    found = read(
        "T1\nX1.0Y1.0G85X2.0Y1.0\nT2\nG00X5.0Y5.0\nM15\nG01X6.0Y5.0\nX6.0Y7.0\nM16\nG05\nX9.0Y9.0"
    )
    assert [s.slot_to_mm for s in found.spots] == [(2, 1), (6, 5), (6, 7), None]
    assert places(found)[1:] == [(5, 5), (6, 5), (9, 9)]
    assert [s.drill_mm for s in found.spots] == [0.8, 1.0, 1.0, 1.0]


def test_plunge_without_a_move_is_a_hole():
    found = read("T1\nG00X5.0Y5.0\nM15\nM16\nG05")
    assert places(found) == [(5, 5)] and found.spots[0].slot_to_mm is None


def test_format_1_codes():
    header = "M48\nFMAT,1\nMETRIC\nT1C0.8\n%\n"
    found = read("G81\nT1\nM25\nX1.0Y1.0\nM24\nM26X5.0Y0.0\nM26\nM27", header, "\nM02\n")
    assert places(found) == [(1, 1), (6, 1)] and found.warnings == ()


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "latin-1"])
def test_line_ends_and_encodings(newline, encoding):
    text = (HEADER + "; Größe\nT1\nX1.0Y1.0\nX2.0Y1.0" + END).replace("\n", newline)
    found = read_drill(text.encode(encoding), "board.drl")
    assert places(found) == [(1, 1), (2, 1)] and found.spots[1].line == 11


# -- plating and tools from comments --------------------------------------------


def test_plating_of_the_file():
    for said, plated in (("Plated,1,2,PTH", True), ("NonPlated,1,2,NPTH", False)):
        header = f"M48\n; #@! TF.FileFunction,{said}\nMETRIC\nT1C0.8\n%\n"
        assert read("T1\nX1.0Y1.0", header).spots[0].plated is plated
    assert read("T1\nX1.0Y1.0").spots[0].plated is None


def test_plating_of_each_tool():
    header = (
        "M48\nMETRIC\n; #@! TF.FileFunction,MixedPlating,1,2\n"
        "; #@! TA.AperFunction,Plated,PTH,ComponentDrill\nT1C0.8\n"
        "; #@! TA.AperFunction,NonPlated,NPTH,ComponentDrill\nT2C3.0\n"
        "; #@! TD\nT3C2.0\n;TYPE=PLATED\nT4C0.9\n;TYPE=NON_PLATED\nT5C1.1\n%\n"
    )
    body = "".join(f"T{n}\nX{n}.0Y1.0\n" for n in range(1, 6))
    assert [s.plated for s in read(body, header).spots] == [True, False, None, True, False]


def test_diameter_from_a_comment_is_told():
    header = ";Holesize 1 =   31.5 PLATED MILS\nM48\nINCH,TZ\nT01\n%\n"
    found = read("T01\nX010000Y010000", header)
    assert found.spots[0].drill_mm == pytest.approx(0.8001) and found.spots[0].plated is True
    assert "comment" in found.warnings[0]


# -- number formats ----------------------------------------------------------------

BOARD = [(10.16 + 2.54 * i, 20.32 + 2.54 * j) for i in range(8) for j in (0, 3)]


def written(points, unit_mm: float, whole: int, fraction: int, zeros: str) -> str:
    lines = ["T1"]
    for point in points:
        words = []
        for letter, value in zip("XY", point, strict=True):
            digits = f"{round(value / unit_mm * 10**fraction):0{whole + fraction}d}"
            digits = digits.rstrip("0") if zeros == "LZ" else digits
            words.append(letter + (digits.lstrip("0") if zeros == "TZ" else digits))
        lines.append("".join(words))
    return "\n".join(lines)


@pytest.mark.parametrize("statement", ["METRIC,{}", "METRIC,{},000.000", "M71,{}"])
@pytest.mark.parametrize("zeros", ["LZ", "TZ"])
def test_three_three_is_what_metric_means(statement, zeros):
    header = f"M48\n{statement.format(zeros)}\nT1C0.8\n%\n"
    found = read(written(BOARD, 1, 3, 3, zeros), header)
    assert same(found, BOARD) and found.warnings == ()


@pytest.mark.parametrize("zeros", ["LZ", "TZ"])
@pytest.mark.parametrize(
    "said", ["METRIC,{},0000.00", "; FORMAT={{4:2/ absolute / metric / x}}\nMETRIC,{}",
             ";FILE_FORMAT=4:2\nMETRIC,{}"],
)  # fmt: skip
def test_stated_digits_win_over_the_usual(zeros, said):
    header = f"M48\n{said.format(zeros)}\nT1C0.8\n%\n"
    found = read(written(BOARD, 1, 4, 2, zeros), header)
    assert same(found, BOARD) and found.warnings == ()


@pytest.mark.parametrize(
    "words, zeros",
    [("suppress leading zeros", "TZ"), ("suppress trailing zeros", "LZ"), ("keep zeros", "all")],
)
def test_format_comment_says_which_zeros_are_dropped(words, zeros):
    header = f"M48\n; FORMAT={{3:3/ absolute / metric / {words}}}\nMETRIC\nT1C0.8\n%\n"
    found = read(written(BOARD, 1, 3, 3, zeros), header)
    assert same(found, BOARD) and found.warnings == ()


@pytest.mark.parametrize("zeros", ["LZ", "TZ"])
@pytest.mark.parametrize("unit, unit_mm, digits", [("INCH", 25.4, (2, 4)), ("METRIC", 1, (3, 3))])
def test_missing_lz_tz_is_decided_by_evidence_and_told(zeros, unit, unit_mm, digits):
    header = f"M48\n{unit}\nT1C{0.8 / unit_mm:.4f}\n%\n"
    found = read(written(BOARD, unit_mm, *digits, zeros), header)
    assert same(found, BOARD, 2e-3)
    (warning,) = found.warnings
    assert "LZ or TZ" in warning and "mm" in warning and found.decided


@pytest.mark.parametrize("zeros", ["LZ", "TZ"])
@pytest.mark.parametrize("unit_mm, digits, size", [(25.4, (2, 4), "0.0315"), (1, (3, 3), "0.8")])
def test_missing_unit_is_decided_by_evidence_and_told(zeros, unit_mm, digits, size):
    found = read(written(BOARD, unit_mm, *digits, zeros), f"M48\nT1C{size}\n%\n")
    assert same(found, BOARD, 2e-3)
    assert "INCH or METRIC" in found.warnings[0]


def test_unusual_digits_are_found_and_told():
    found = read(written(BOARD, 1, 4, 4, "TZ"), "M48\nMETRIC,TZ\nT1C0.8\n%\n")
    assert same(found, BOARD)
    assert "number of digits" in found.warnings[0]


def test_the_outline_settles_what_the_holes_leave_open():
    body = "T1\nX12Y13\nX14Y13"  # 120 and 130 mm, or 12 and 13 mm?
    header = "M48\nMETRIC\nT1C0.8\n%\n"
    error = refusal(body, header)
    assert "both possible" in error.what and "outline" in error.remedy
    small, large = (Extent((0, 0), (size, size), "edge.gbr") for size in (20, 200))
    found = read(body, header, extent=small)
    assert places(found) == [(12, 13), (14, 13)] and "edge.gbr" in found.warnings[0]
    with pytest.raises(DesignError):  # both lie on the large board
        read(body, header, extent=large)


def test_equal_lengths_leave_nothing_open():
    # nothing was dropped, so both readings give the same places and nothing is told
    found = read("T1\nX012700Y025400\nX015240Y025400\nX017780Y125400", "M48\nMETRIC\nT1C0.8\n%\n")
    assert places(found)[0] == (12.7, 25.4) and found.warnings == ()


def test_contradiction_between_comment_and_header_is_told():
    comment = "; FORMAT={3:3/ absolute / metric / suppress trailing zeros}"
    header = f"M48\n{comment}\nMETRIC,TZ\nT1C0.8\n%\n"
    found = read(written(BOARD, 1, 3, 3, "TZ"), header)
    assert same(found, BOARD)
    assert "contradicts" in found.warnings[0]


def test_diameter_without_a_point():
    header = "M48\nMETRIC,TZ\nT1C1\nT2C900\n%\n"
    found = read("T1\nX10000Y10000\nT2\nX20000Y10000", header)
    assert [s.drill_mm for s in found.spots] == [1.0, 0.9]
    assert "no decimal point" in found.warnings[0]


# -- told, not hidden -----------------------------------------------------------


def test_missing_end_is_told():
    assert "M30" in read("T1\nX1.0Y1.0", end="\n").warnings[0]


def test_drilled_text_is_left_out_and_told():
    found = read("T1\nX1.0Y1.0\nM97,BOARD 7\nX5.0Y5.0\nX2.0Y1.0")
    assert places(found) == [(1, 1), (2, 1)] and "text" in found.warnings[0]


def test_unknown_machine_codes_are_told():
    found = read("T1\nM77\nX1.0Y1.0\nM77", HEADER.replace("FMAT,2", "BLURB,7"))
    assert "BLURB" in found.warnings[0] and "line 2" in found.warnings[0]
    assert "M77" in found.warnings[1] and "lines 9, 11" in found.warnings[1]


def test_harmless_machine_words_are_silent():
    header = "M48\nFMAT,2\nVER,1\nATC,ON\nR,T\nDETECT,ON\nMETRIC\nT1C0.8\n%\n"
    assert read("G05\nM47,HELLO X1Y1\nN10T1\nF200\nS65\nN20X1.0Y1.0\nM06", header).warnings == ()


# -- refused with line and advice ---------------------------------------------------


@pytest.mark.parametrize(
    "body, line, word",
    [
        ("X1.0Y1.0", 8, "tool"),
        ("T7\nX1.0Y1.0", 9, "diameter"),
        ("T1\nG02X1.0Y1.0A1.0", 9, "arc"),
        ("T1\nG00X0Y0\nM15\nG03X1.0Y1.0I1J0", 11, "arc"),
        ("T1\nG00X0Y0\nM15\nX1.0Y1.0I1.0J0.0", 11, "arc"),
        ("T1\nG00X0Y0\nG01X1.0", 10, "tool up"),
        ("T1\nG00X0Y0\nM15\nT2", 11, "while it is down"),
        ("T1\nG82X1.0Y1.0", 9, "pattern"),
        ("T1\nX1.0Y1.0G84X5.0", 9, "circle"),
        ("T1\nG41", 9, "sideways"),
        ("T1\nG99X1.0Y1.0", 9, "not known"),
        ("T1\nR5", 9, "no step"),
        ("T1\nR5X1.0", 9, "no hole"),
        ("T1\nX1.0Y1.0G85X2.0\nR3X1.0", 10, "no hole"),
        ("T1\nX1.0Y1.0\nR999999999X1.0", 10, "20,000"),
        ("T1\nM25\nX1.0Y1.0\nM01\nR999999999M02X1.0", 12, "20,000"),
        ("T1\nM25\nM25", 10, "inside a pattern"),
        ("T1\nM25\nX1.0Y1.0\nM01\nM02X5.0\nM01", 13, "nests"),
        ("T1\nM25\nX1.0Y1.0\nM01\nM02X5.0Y0M70", 12, "mirrors"),
        ("T1\nX1.0Y1.0\nM02X5.0", 10, "M25"),
        ("T1\nG91\nM25\nX1.0Y1.0\nM01\nM02X5.0", 13, "incremental"),
        ("T1\nM25\nX1.0Y1.0", 10, "inside a pattern"),
        ("T1\nX1.0Y1.0X2.0", 9, "two X"),
        ("T1\nX1.0Y1.0Z-2.0", 9, "milling"),
        ("T1\nX1..0Y1.0", 9, "not understood"),
        ("T1\nX1.0Y-", 9, "not understood"),
        ("T1\nX1.0Y٣", 9, "not understood"),
        ("T1\n/X1.0Y1.0", 9, "not understood"),
        ("T1\nM99,LOGO", 9, "stored"),
        ("T1\nG35X1.0Y1.0", 9, "camera"),
        ("T1\nX99999999.0Y1.0", 9, "origin"),
        ("T1\nX" + "9" * 400 + "Y1.0", 9, "too many digits"),
        ("T1\nX1.0Y1.0\nM30\nX2.0Y2.0", 11, "after the end"),
        ("INCH\nT1\nX1.0Y1.0", 8, "says inch"),
        ("T1C0.9\nX1.0Y1.0", 8, "two tool numbers"),
    ],
)  # fmt: skip
def test_refused(body, line, word):
    error = refusal(body, end="")
    assert error.line == line and word in str(error), str(error)


@pytest.mark.parametrize(
    "header, word",
    [
        ("M48\nMETRIC\nVER,3\nT1C0.8\n%\n", "mirrors"),
        ("M48\nMETRIC\nFMAT,7\nT1C0.8\n%\n", "FMAT"),
        ("M48\nMETRIC\nT1C0\n%\n", "0 mm"),
        ("M48\nMETRIC\nT1C88.0\n%\n", "88 mm"),
        ("M48\nMETRIC\nT1C0.8.1\n%\n", "no diameter"),
        ("M48\nMETRIC\nT1C0.8\nX1.0Y1.0\n%\n", "header"),
    ],
)
def test_refused_headers(header, word):
    assert word in str(refusal("T1\nX1.0Y1.0", header))


@pytest.mark.parametrize("unit", ["METRIC", "METRIC,TZ", "METRIC,LZ"])
def test_whole_numbers_among_decimals_are_whole_millimetres(unit):
    found = read("T1\nX5.5Y6.0\nX7Y8\nX10Y12.5\nX20Y12", f"M48\n{unit}\nT1C0.6\n%\n")
    assert places(found) == [(5.5, 6), (7, 8), (10, 12.5), (20, 12)]
    assert "mixed" in found.warnings[0]


def test_a_decimal_step_among_padded_numbers_changes_nothing():
    # as in the manual's own test program: X016Y046 is 1.6, 4.6 inch, R4X.1 steps by 0.1
    found = read("T1\nX016Y046\nR4X.1Y.1\nX03Y046", "M48\nINCH,LZ\nT1C.02\n%\n")
    assert found.spots[0].x_mm == pytest.approx(1.6 * 25.4)
    assert found.spots[4].y_mm == pytest.approx(5.0 * 25.4)
    assert found.spots[5].x_mm == pytest.approx(3.0 * 25.4)


@pytest.mark.parametrize(
    "body",
    [
        "T1\nM25\nM01\n" + "R20000M02X1.0\n" * 3000 + "X1.0Y1.0",
        "T1\nX1.0Y1.0\n" + "R0X1.0\n" * 3000,
        "T1\n" + "G5" * 900,
        "T1\n" + "X1.0Y1.0\n" * 150_000,
        "T1\nX1.0Y1.0" + " " * 3000,
    ],
)
def test_nothing_takes_long(body):
    # the suite's own time limit is the check: the first of these once took minutes
    try:
        assert len(read(body).spots) == 1
    except DesignError as error:
        assert error.remedy
