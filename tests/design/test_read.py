"""Files of one board to a design: kinds by content, joining, refusing several boards."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.mutated import (
    CSV_COMMA,
    DRILL_METRIC,
    GERBER_OUTLINE,
    NETLIST,
    zipped,
)

from drillaid.design.read import design_of, read_design
from drillaid.design.sources import Piece
from drillaid.errors import DesignError, UsageError

SINSONTE = Path(__file__).parents[3] / "shared/data/etched/sinsonte"
needs_sinsonte = pytest.mark.skipif(not SINSONTE.is_dir(), reason="no ../shared/data here")


def drill(points, size=0.8, plated=None) -> bytes:
    attribute = {True: "Plated,1,2,PTH", False: "NonPlated,1,2,NPTH"}.get(plated)
    lines = ["M48", *([f"; #@! TF.FileFunction,{attribute}"] if attribute else [])]
    lines += ["METRIC", f"T1C{size}", "%", "T1", *(f"X{x:.3f}Y{y:.3f}" for x, y in points)]
    return "\n".join([*lines, "M30", ""]).encode()


def read(named: bool = False, **files: bytes):
    pieces = [Piece(name.replace("_", "."), data, named) for name, data in files.items()]
    return design_of(pieces, "board")


def refusal(named: bool = False, **files: bytes) -> DesignError:
    with pytest.raises(DesignError) as caught:
        read(named, **files)
    assert caught.value.remedy
    return caught.value


SQUARE = [(10, -10), (20, -10), (20, -20), (10, -20), (15, -15)]


@needs_sinsonte
def test_a_real_fabrication_folder():
    """Source: repository galopago/SINSONTE (MIT): 116 plated and 10 unplated holes, 90 x 70 mm."""
    design = read_design([SINSONTE])
    assert len(design.holes) == 126 and design.warnings == ()
    assert [hole.number for hole in design.holes] == list(range(1, 127))
    assert sum(hole.plated for hole in design.holes) == 116
    # the folder is read in sorted order: unplated before plated
    first, last = design.holes[0], design.holes[-1]
    assert (first.xy_mm, first.drill_mm, first.file) == ((57.03, -66.575), 1.5, "SINSONTE-NPTH.drl")
    assert last.file == "SINSONTE-PTH.drl" and last.drill_mm == 1.1
    assert design.outline.size_mm == pytest.approx((90, 70), abs=0.1)
    lands = [
        land for hole, land in zip(design.holes, design.lands, strict=True) if hole.plated
    ]
    assert all(lands) and set(design.copper) == {"bottom", "top"}
    for hole, land in zip(design.holes, design.lands, strict=True):
        if hole.plated:
            assert min(land.size_mm) > hole.drill_mm


def test_several_files_join_in_the_order_given():
    design = read(b_drl=drill(SQUARE, plated=True), a_drl=drill([(12, -12)], 3.2, plated=False))
    assert [h.number for h in design.holes] == [1, 2, 3, 4, 5, 6]
    assert [h.file for h in design.holes] == ["b.drl"] * 5 + ["a.drl"]
    assert design.holes[5].drill_mm == 3.2 and design.holes[5].plated is False
    assert design.files == ("b.drl", "a.drl") and design.units == "metric, decimal points"


def test_doubles_are_kept_once_and_told():
    design = read(a_drl=drill(SQUARE), b_drl=drill([*SQUARE[:2], (12, -12)]))
    assert len(design.holes) == 6
    assert "2 holes listed twice were" in design.warnings[0]
    assert "b.drl line 6 = hole 1" in design.warnings[0]


def test_holes_that_touch_are_told():
    design = read(a_drl=drill([*SQUARE, (15.5, -15)]))
    assert "cut into each other" in design.warnings[0] and "5 and 6" in design.warnings[0]
    design = read(a_drl=drill(SQUARE), b_drl=drill([SQUARE[0]], 1.2))
    assert len(design.holes) == 6 and "different diameters: 1 and 6" in design.warnings[0]


def test_several_boards_are_refused():
    apart = [(x + 100, y) for x, y in SQUARE]
    error = refusal(a_drl=drill(SQUARE), b_drl=drill(apart))
    assert "two boards" in error.what and error.file == "b.drl"
    interleaved = [(x + 0.5, y) for x, y in SQUARE]
    assert "two boards" in refusal(a_drl=drill(SQUARE), b_drl=drill(interleaved)).what
    other_edge = GERBER_OUTLINE.replace(b"50000000", b"70000000")
    error = refusal(a_drl=drill(SQUARE), e_gbr=GERBER_OUTLINE, f_gbr=other_edge)
    assert "another board edge" in error.what
    error = refusal(a_drl=drill(apart), e_gbr=GERBER_OUTLINE)
    assert "outside the board" in error.what and "e.gbr" in error.what


def test_outline_from_gerber():
    design = read(a_drl=drill(SQUARE), e_gbr=GERBER_OUTLINE)
    assert design.outline.size_mm == pytest.approx((50, 30), abs=0.02)
    assert design.files == ("a.drl", "e.gbr")


def test_names_do_not_matter():
    design = read(holes_jpg=DRILL_METRIC, readme_drl=b"see the other file\n")
    assert len(design.holes) == 15 and design.files == ("holes.jpg",)


def test_one_kind_of_hole_list_is_used():
    design = read(a_drl=DRILL_METRIC, b_csv=CSV_COMMA, c_ipc=NETLIST)
    assert design.files == ("a.drl",)
    assert sum("was not used" in warning for warning in design.warnings) == 2
    error = refusal(named=True, a_drl=DRILL_METRIC, b_csv=CSV_COMMA)
    assert "give one of the two" in error.remedy


@pytest.mark.parametrize(
    "data, word",
    [
        (b"", "is empty"),
        (b" \n \r\n", "is empty"),
        (b"\0\1\2\3", "neither"),
        (b"dear reader\n", "neither"),
        (b"G21\nG0X1Y1\nG1Z-2\nG0Z5\nM2\n", "milling"),
        (b"M48\nMETRIC\n%\nM30\n", "holds no holes"),
        (b"x,y,diameter\n", "holds no holes"),
        (GERBER_OUTLINE, "no drill file"),
    ],
)
def test_what_is_no_design(data, word):
    assert word in str(refusal(named=True, a_drl=data))


def test_misuse():
    with pytest.raises(UsageError):
        read_design(["a"], face="left")
    with pytest.raises(DesignError, match="no design"):
        read_design([])


def test_a_folder_and_a_zip_give_the_same(tmp_path):
    folder = tmp_path / "board"
    folder.mkdir()
    (folder / "a.drl").write_bytes(drill(SQUARE))
    (folder / "edge.gbr").write_bytes(GERBER_OUTLINE)
    archive = tmp_path / "board.zip"
    archive.write_bytes(zipped({p.name: p.read_bytes() for p in folder.iterdir()}))
    one, other = read_design(folder), read_design([archive])
    assert one.name == other.name == "board"
    assert one.xy_mm.tolist() == other.xy_mm.tolist() and other.outline is not None
    assert other.holes[0].file == "board.zip/a.drl" and other.holes[0].line == 6


def test_ambiguous_header_is_settled_by_the_outline():
    body = "\n".join(f"X{i * 2}Y{i * 3}" for i in range(2, 8))
    data = f"M48\nMETRIC\nT1C0.8\n%\nT1\n{body}\nM30\n".encode()
    inside = GERBER_OUTLINE.replace(b"Y-30000000", b"Y30000000")
    design = read(a_drl=data, e_gbr=inside)
    assert design.holes[-1].xy_mm == (14, 21)
    assert "e.gbr" in design.warnings[0] and "LZ or TZ" in design.warnings[0]


def test_twenty_thousand_holes_is_the_limit():
    lines = "X1.0Y1.0\nR19999X0.05\n"
    data = f"M48\nMETRIC\nT1C0.01\n%\nT1\n{lines}M30\n".encode()
    assert len(read(a_drl=data).holes) == 20_000
    assert "20,000" in refusal(a_drl=data, b_drl=drill(SQUARE)).what


def test_a_small_file_follows_the_large_one_of_the_same_export():
    def silent(points) -> bytes:
        rows = "".join(f"X{round(x * 1000)}Y{round(y * 1000)}\n" for x, y in points)
        return f"M48\nMETRIC\nT1C0.8\n%\nT1\n{rows}M30\n".encode()

    large = silent([(10.16 + 2.54 * i, 10.16 + 5.08 * j) for i in range(12) for j in range(3)])
    small = silent([(5.123, 6.457), (9.456, 6.457)])
    with pytest.raises(DesignError, match="both possible"):
        read(small_drl=small)
    design = read(small_drl=small, large_drl=large)
    assert design.holes[0].xy_mm == (5.123, 6.457) and design.holes[2].xy_mm == (10.16, 10.16)
    assert sum("LZ or TZ" in warning for warning in design.warnings) == 2


def test_holes_outside_the_outline_are_told():
    design = read(a_drl=drill([*SQUARE, (60, -10)]), e_gbr=GERBER_OUTLINE)
    assert "1 hole lies outside the board drawn in e.gbr: 6" in design.warnings


def test_the_other_face_is_pointed_to_and_may_be_broken():
    pad = b"%FSLAX26Y26*%\n%MOMM*%\n%ADD10C,1.6*%\nD10*\n"
    pad += b"".join(b"X%dY%dD03*\n" % (x * 1_000_000, y * 1_000_000) for x, y in SQUARE) + b"M02*\n"
    top, bottom = (b"%TF.FileFunction,Copper,L1,Top*%\n", b"%TF.FileFunction,Copper,L2,Bot*%\n")
    design = read(a_drl=drill(SQUARE), t_gbr=top + pad)
    assert "is --face top meant?" in design.warnings[0] and not any(design.lands)
    broken = top + b"%FSLAX26Y26*%\n%MOMM*%\nD99*\nX0Y0D03*\nM02*\n"
    design = read(a_drl=drill(SQUARE), t_gbr=broken, b_gbr=bottom + pad)
    assert [land.size_mm for land in design.lands] == [pytest.approx((1.6, 1.6), abs=0.01)] * 5
    assert "top copper is left out" in design.warnings[0]


def test_messages_are_one_printable_line():
    error = refusal(named=True, **{"a\x1b[31m\nb": b"dear reader"})
    assert str(error).isprintable()
    design = read(a_drl=drill(SQUARE).replace(b"METRIC", b"METRIC\nBLURB\x1b[31m"))
    assert design.warnings[0].isprintable() and "BLURB" in design.warnings[0]
