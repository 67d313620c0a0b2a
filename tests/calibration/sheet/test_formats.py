"""SVG, PNG and Gerber hold the same sheet: each is read back and measured."""

from __future__ import annotations

import re
import struct
import xml.etree.ElementTree as xml
import zipfile
import zlib

import cv2
import numpy as np
import pytest
from support.printed import corners_px, scale_of

from calibration.pattern import Pattern
from calibration.sheet.board import Place, test_board
from calibration.sheet.gerber import gerber_of
from calibration.sheet.png import drawn, png_of
from calibration.sheet.shapes import Box, Cells, Sheet, Text, outlines, rectangles
from calibration.sheet.svg import svg_of
from calibration.sheet.write import is_etched, write_sheet
from drillaid.design.picture import picture_of
from drillaid.design.read import read_design
from drillaid.errors import StorageError, UsageError
from drillaid.registration.register import register_picture
from drillaid.rig.marks import black_modules
from drillaid.rig.rig import Rig

PATTERN = Pattern(12, 6, 8.0)
PLACE = Place(148.0, 105.0)
SHEET = test_board(PATTERN, PLACE)


# -- shapes --------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(20))
def test_outlines_and_rectangles_cover_what_is_black(seed):
    rng = np.random.default_rng(seed)
    black = rng.random(rng.integers(1, 9, 2)) < rng.uniform(0.2, 0.9)
    count = np.zeros(black.shape, int)
    for r0, c0, r1, c1 in rectangles(black):
        count[r0:r1, c0:c1] += 1
    assert (count == black).all()  # each cell once
    again = np.zeros((40 * black.shape[0], 40 * black.shape[1]), np.uint8)
    loops = [np.round(40 * loop - 0.5).astype(np.int32) for loop in outlines(black)]
    if loops:
        cv2.fillPoly(again, loops, 255)
    assert ((again[20::40, 20::40] > 0) == black).all()


# -- SVG -----------------------------------------------------------------------------------


def test_svg_geometry():
    """One unit is a millimetre; its path, filled by the image library, is the true pattern."""
    root = xml.fromstring(svg_of(SHEET))
    assert (root.get("width"), root.get("height")) == ("148mm", "105mm")
    assert root.get("viewBox") == "0 0 148 105"
    path = root.find("{http://www.w3.org/2000/svg}path")
    assert path.get("fill-rule") == "evenodd"
    loops = [
        np.array([[float(v) for v in point.split(",")] for point in loop.split()])
        for loop in re.findall(r"M([^Z]+)Z", path.get("d"))
    ]
    picture = np.full((1050, 1480), 255, np.uint8)
    fixed = [np.round((loop * 10 - 0.5) * 256).astype(np.int32) for loop in loops]
    cv2.fillPoly(picture, fixed, 0, cv2.LINE_AA, 8)
    ids, found = corners_px(picture, PATTERN)
    assert len(ids) == len(PATTERN.corners_mm)
    linear, _ = scale_of(found, PATTERN.corners_mm[ids])
    assert np.abs(linear / 10 - np.eye(2)).max() < 4e-4  # 10 px/mm over 80 mm: 0.3 px
    widths = [np.ptp(loop[:, 0]) for loop in loops]
    assert max(widths) == pytest.approx(PATTERN.bar_mm, abs=1e-5)
    words = " ".join(t.text for t in root.iter("{http://www.w3.org/2000/svg}text"))
    assert "--squares 12x6 --square-mm 8" in words and "100 %" in words


# -- PNG -----------------------------------------------------------------------------------


def chunks(data: bytes):
    """Every chunk with its checksum verified."""
    at = 8
    while at < len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        body = data[at + 4 : at + 8 + length]
        assert struct.unpack(">I", data[at + 8 + length : at + 12 + length])[0] == zlib.crc32(body)
        yield body[:4].decode("ascii"), body[4:]
        at += 12 + length


@pytest.mark.parametrize("dpi", [150.0, 300.0, 422.7])
def test_png_is_true_by_the_resolution_it_states(dpi):
    data = png_of(SHEET, dpi)
    held = dict(chunks(data))
    x, y, unit = struct.unpack(">IIB", held["pHYs"])
    assert x == y == pytest.approx(dpi / 0.0254, abs=0.5) and unit == 1
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    assert picture.shape[::-1] == pytest.approx(np.array([148, 105]) * x / 1000, abs=0.5)
    ids, found = corners_px(picture, PATTERN)
    assert len(ids) == len(PATTERN.corners_mm)
    first = SHEET.shapes[0]  # the upper left square
    true = (PATTERN.corners_mm[ids] + (first.x_mm, first.y_mm)) * x / 1000 - 0.5
    assert np.abs(found - true).max() < 0.2  # px: the finder errs by 0.15 on unblurred edges


def test_png_keeps_edges_inside_pixels():
    """A box that ends within pixels holds its area: here 3.37 x 1.21 mm at 4 px/mm."""
    box = Sheet("x", 20, 10, (Box(2.11, 3.07, 3.37, 1.21),))
    picture = cv2.imdecode(np.frombuffer(png_of(box, 101.6), np.uint8), cv2.IMREAD_UNCHANGED)
    black = 1 - picture / 255
    assert black.sum() / 16 == pytest.approx(3.37 * 1.21, rel=2e-3)
    middle = (black.sum(axis=0) * (np.arange(80) + 0.5)).sum() / black.sum() / 4
    assert middle == pytest.approx(2.11 + 3.37 / 2, abs=2e-3)


@pytest.mark.parametrize("style", ["plain", "bold", "mono"])
def test_png_words_keep_within_their_room(style):
    text = Text(10, 12, 3.0, "drillaid calibrate lens PHOTOS --squares 26x16 callipers", style)
    black = 255 - drawn(Sheet("x", 160, 20, (), (text,)), 12.0)
    columns = np.flatnonzero((black > 127).any(axis=0)) / 12.0
    assert 9.7 < columns[0] and columns[-1] < 10 + text.room_mm


@pytest.mark.parametrize("dpi", [0, -1, 5000, float("nan")])
def test_resolution_out_of_range(dpi):
    with pytest.raises(UsageError, match="--dpi"):
        png_of(SHEET, dpi)


def test_png_too_large():
    with pytest.raises(UsageError, match="pixels"):
        png_of(Sheet("x", 1100, 1100, ()), 1200)


# -- Gerber --------------------------------------------------------------------------------

BOARD = Pattern(14, 6, 10.0)
ETCHED = test_board(BOARD, Place(160, 100, etched=True))


def seen_on_copper(design) -> tuple[np.ndarray, float]:
    """The bottom copper as one looks at it, black where copper is, and px per mm."""
    copper = design.copper["bottom"]
    return 255 - np.ascontiguousarray(copper.mask[:, ::-1]), copper.px_per_mm


def test_etched_copper_shows_the_pattern_the_right_way_round(tmp_path):
    """Read by our own design reader: on the copper looked at, every corner is found."""
    for name, text in gerber_of(ETCHED, "board").items():
        (tmp_path / name).write_text(text, encoding="ascii")
    design = read_design([tmp_path], face="bottom")
    assert design.outline.size_mm == pytest.approx((160, 100))
    picture, px_per_mm = seen_on_copper(design)
    picture = cv2.copyMakeBorder(picture, 60, 60, 60, 60, cv2.BORDER_CONSTANT, value=255)
    ids, found = corners_px(picture, BOARD)
    assert len(ids) == len(BOARD.corners_mm)
    linear, _ = scale_of(found, BOARD.corners_mm[ids])
    assert np.abs(linear / px_per_mm - np.eye(2)).max() < 5e-4  # upright, true, not mirrored
    assert len(corners_px(picture[:, ::-1].copy(), BOARD)[0]) == 0


def test_etched_lands_are_drilled_in_their_middles(tmp_path):
    path = tmp_path / "board.zip"
    assert write_sheet(ETCHED, path) == [path]
    assert len(zipfile.ZipFile(path).namelist()) == 3
    design = read_design([path], face="bottom")
    assert len(design.holes) == len(ETCHED.lands) >= 8
    for hole, land in zip(design.holes, design.lands, strict=True):
        assert land is not None and land.size_mm == pytest.approx((2.4, 2.4), abs=0.01)
        assert land.centre_mm == pytest.approx(hole.xy_mm, abs=0.01)
    places = {(round(160 - m.x_mm, 3), round(100 - m.y_mm, 3)) for m in ETCHED.lands}
    assert {(round(x, 3), round(y, 3)) for x, y in design.xy_mm} == places
    turned = {(round(160 - x, 3), round(100 - y, 3)) for x, y in places}
    assert turned != places  # a half turn does not map the lands onto themselves


def test_a_finished_rig_can_be_tried_on_the_etched_board(tmp_path):
    """Its own copper tells where it lies, although squares repeat; a photograph from above."""
    for name, text in gerber_of(ETCHED, "board").items():
        (tmp_path / name).write_text(text, encoding="ascii")
    design = read_design([tmp_path], face="bottom")
    focal_px, height_mm, thickness_mm, turn = 1400.0, 200.0, 1.6, np.deg2rad(7.0)
    matrix = np.array([(focal_px, 0, 639.5), (0, focal_px, 399.5), (0, 0, 1)])
    rig = Rig(1280, 800, matrix, np.zeros(5), np.array([np.pi, 0, 0]), np.array([0, 0, height_mm]))
    board = picture_of(design, 12.0, numbers=False)
    board = cv2.GaussianBlur(board, (0, 0), 1.5)
    ratio = focal_px / (height_mm - thickness_mm) / 12.0
    view = ratio * np.array([(np.cos(turn), -np.sin(turn)), (np.sin(turn), np.cos(turn))])
    offset = np.array([640, 400]) - view @ (np.array(board.shape[1::-1]) / 2)
    photo = cv2.warpAffine(
        board, np.column_stack([view, offset]), (1280, 800), borderValue=(70, 80, 90)
    )
    noisy = photo + np.random.default_rng(1).normal(0, 3, photo.shape)
    photo = noisy.clip(0, 255).astype(np.uint8)
    found = register_picture(photo, design, rig=rig, face="bottom", thickness_mm=thickness_mm)
    assert found.status == "registered", found.message
    assert found.placement.matrix.rotation_rad == pytest.approx(-turn, abs=2e-3)


# -- files ---------------------------------------------------------------------------------


def test_each_name_gets_its_format(tmp_path):
    small = Sheet("x", 60, 50, (Cells(10, 10, 1.5, black_modules(3)),))
    starts = {"a.pdf": b"%PDF-1.7", "b.svg": b"<?xml", "c.PNG": b"\x89PNG", "d.zip": b"PK"}
    for name, start in starts.items():
        assert write_sheet(small, tmp_path / name, dpi=100) == [tmp_path / name]
        assert (tmp_path / name).read_bytes().startswith(start)
    written = write_sheet(ETCHED, tmp_path / "e.gbr")
    assert written[0] == tmp_path / "e.gbr" and len(written) == 3
    folder = write_sheet(ETCHED, f"{tmp_path / 'new' / 'board'}/")
    assert folder[0].is_dir() and sorted(folder[1:]) == sorted(folder[0].iterdir())


@pytest.mark.parametrize("name", ["board", "board.jpg", "board.gbr.txt"])
def test_unknown_formats_are_refused(name):
    with pytest.raises(UsageError, match=r"\.pdf, \.svg, \.png"):
        is_etched(name)


def test_a_place_that_cannot_be_written(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(StorageError):
        write_sheet(ETCHED, f"{tmp_path / 'file' / 'folder'}/")
    with pytest.raises(StorageError):
        write_sheet(SHEET, tmp_path / "nowhere" / "a.pdf")
