"""The PDF at true scale: drawn by another program, found by the image library, measured."""

from __future__ import annotations

import numpy as np
import pytest
from support.printed import black_spans, corners_px, pdf_picture, scale_of

from calibration.pattern import Pattern
from calibration.sheet.board import Place, largest_pattern, test_board
from calibration.sheet.marks import marks_sheet
from calibration.sheet.paper import paper_mm
from calibration.sheet.pdf import pdf_of
from calibration.sheet.shapes import LETTER_EM, Sheet, Text
from drillaid.rig import marks

PX_PER_MM = 12.0


@pytest.mark.parametrize(("paper", "square_mm"), [("A4", 10.0), ("A5", 7.3), ("Letter", 12.5)])
def test_squares_and_bar_are_true(paper, square_mm):
    """Scale within 0.02 %, square axes, the bar's ends within 0.02 mm, the page's own size."""
    size = paper_mm(paper)
    pattern = largest_pattern(square_mm, Place(*size))
    picture, page_mm = pdf_picture(pdf_of(test_board(pattern, Place(*size))), PX_PER_MM)
    assert np.allclose(page_mm, size, atol=1e-3)

    ids, found = corners_px(picture, pattern)
    assert len(ids) == len(pattern.corners_mm)  # every corner, so white enough all round
    linear, worst = scale_of(found, pattern.corners_mm[ids])
    true = np.array(picture.shape[::-1]) / page_mm  # px per mm; the program rounds the picture
    assert np.abs(linear / true[:, None] - np.eye(2)).max() < 2e-4
    assert worst < 0.35  # px

    long = [span for span in bar_spans(picture, true[0]) if span[1] - span[0] > 19]
    assert len(long) == 1
    assert long[0][1] - long[0][0] == pytest.approx(pattern.bar_mm, abs=0.02)


def bar_spans(picture, px_per_mm):
    """Black spans on a line through the bar: the row that is black the longest at a stretch."""
    rows = [black_spans(row, px_per_mm) for row in picture[picture.shape[0] * 2 // 3 :: 4]]
    return max(rows, key=lambda spans: max((e - s for s, e in spans), default=0))


def test_ticks_end_with_the_bar():
    """Callipers put to the outer edges of the end ticks measure the same 100 mm."""
    pattern = Pattern(26, 16, 10.0)
    picture, page_mm = pdf_picture(pdf_of(test_board(pattern, Place(297, 210))), PX_PER_MM)
    scale = picture.shape[1] / page_mm[0]
    rows = [black_spans(row, scale) for row in picture[-int(20 * scale) :, : int(120 * scale)]]
    ticks = [spans for spans in rows if len(spans) == 11 and max(e - s for s, e in spans) < 0.3]
    assert ticks
    for spans in ticks[2:-2]:
        assert spans[-1][1] - spans[0][0] == pytest.approx(100, abs=0.02)
        middles = np.array([(s + e) / 2 for s, e in spans])[1:-1]
        assert np.abs(np.diff(middles) - 10).max() < 0.02


def test_chessboard_is_true():
    import cv2

    pattern = Pattern(10, 7, 25.0, coded=False)
    picture, page_mm = pdf_picture(pdf_of(test_board(pattern, Place(297, 210))), 6.0)
    seen, found = cv2.findChessboardCornersSB(picture, (9, 6))
    assert seen
    linear, _ = scale_of(found.reshape(-1, 2), pattern.corners_mm)
    true = np.array(picture.shape[::-1]) / page_mm
    assert np.abs(np.abs(linear) / true[:, None] - np.eye(2)).max() < 2e-4


def test_all_marks_are_found_at_their_size():
    import cv2

    picture, page_mm = pdf_picture(pdf_of(marks_sheet(297, 210)), PX_PER_MM)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(marks.dictionary(), settings)
    corners, ids, _ = detector.detectMarkers(picture)
    assert sorted(ids.ravel()) == list(marks.IDS)
    sides = [np.hypot(*(c[0] - np.roll(c[0], 1, axis=0)).T) for c in corners]
    assert np.array(sides) / PX_PER_MM == pytest.approx(marks.SIDE_MM, abs=0.05)


def test_it_asks_not_to_be_scaled_and_says_what_it_is():
    import pypdfium2

    data = pdf_of(test_board(Pattern(8, 5, 10.0), Place(148, 105)))
    assert b"/PrintScaling /None" in data
    document = pypdfium2.PdfDocument(data)
    words = document[0].get_textpage().get_text_bounded()
    assert document.get_metadata_dict()["Title"] == "drillaid test board: 8 x 5 squares of 10 mm"
    assert "--squares 8x5 --square-mm 10" in " ".join(words.split())
    assert "fit to page" in " ".join(words.split())


LINES = [
    ("plain", 'Print at 100 % ("actual size"), never "fit to page". Glue it flat onto glass.'),
    ("bold", "drillaid chessboard: 29 x 26 inner corners, squares of 12.25 mm"),
    ("mono", "drillaid calibrate lens PHOTOS --rig rig.toml (--squares) \\ ____"),
]


@pytest.mark.parametrize(("style", "words"), LINES)
def test_words_keep_within_their_room(style, words):
    """The widths reckoned with hold for what is drawn, and are not far too wide either."""
    assert set(LETTER_EM) == {style for style, _ in LINES}
    text = Text(10, 20, 4.0, words, style)
    picture, _ = pdf_picture(pdf_of(Sheet("x", 297, 40, (), (text,))), 8.0)
    columns = np.flatnonzero((picture < 128).any(axis=0)) / 8.0
    assert 10 - 0.3 < columns[0] and columns[-1] < 10 + text.room_mm
    assert columns[-1] > 10 + 0.75 * text.room_mm
