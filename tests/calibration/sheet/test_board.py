"""What stands where on a test board's sheet, and what does not fit."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from calibration.pattern import MARK_SHARE, Pattern
from calibration.sheet.board import (
    RIM_MM,
    Place,
    largest_pattern,
    options_of,
    test_board,
)
from calibration.sheet.paper import PAPERS_MM, paper_mm
from calibration.sheet.png import drawn
from drillaid.errors import InputError

PLACES = [
    Place(*paper_mm(name, upright=upright))
    for name in ("A3", "A4", "A5", "A6", "Letter")
    for upright in (False, True)
] + [Place(160, 100), Place(160, 100, etched=True), Place(100, 80, etched=True)]


def test_a4_holds_the_pattern_that_is_the_default_everywhere():
    assert largest_pattern(10.0, Place(297, 210)) == Pattern(26, 16, 10.0)


@pytest.mark.parametrize("place", PLACES, ids=str)
@pytest.mark.parametrize("square_mm", [5.0, 8.0, 10.0])
def test_nothing_overlaps_and_all_stays_on_the_sheet(place, square_mm):
    pattern = largest_pattern(square_mm, place)
    sheet = test_board(pattern, place)
    columns, rows = pattern.size_mm
    boxes = [box for shape in sheet.shapes for box in shape.boxes()]
    x0, y0 = boxes[0][:2]
    inside = [b for b in boxes if b[1] < y0 + rows - 1e-6]
    bar = [b for b in boxes if b[1] >= y0 + rows - 1e-6]
    assert x0 >= RIM_MM - 1e-6 and y0 >= RIM_MM - 1e-6
    assert x0 + columns <= place.width_mm - RIM_MM + 1e-6
    assert max(b[2] for b in inside) <= x0 + columns + 1e-6
    rooms = [(*b,) for b in bar]
    rooms += [
        (t.x_mm, t.y_mm - 0.75 * t.size_mm, t.x_mm + t.room_mm, t.y_mm + 0.25 * t.size_mm)
        for t in sheet.texts
    ]
    rooms += [
        (m.x_mm - m.land_mm / 2, m.y_mm - m.land_mm / 2) + (m.x_mm + m.land_mm / 2,
                                                            m.y_mm + m.land_mm / 2)
        for m in sheet.lands
    ]  # fmt: skip
    everything = [(x0 - 2, y0 - 2, x0 + columns + 2, y0 + rows + 2), *rooms]
    for a, b in itertools.combinations(everything, 2):
        shared = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
        assert min(shared) < 0.15, (a, b)  # mm
    for a in rooms:
        assert 2 <= a[0] and a[2] <= place.width_mm - 2 and a[3] <= place.height_mm - 2


def test_where_to_write_the_length_stays_with_its_option():
    for place in PLACES:
        if not place.etched:
            lines = [t.words for t in test_board(largest_pattern(5.0, place), place).texts]
            assert any(line.endswith("--ruler-mm ____") for line in lines)


def test_the_picture_is_the_image_librarys_own():
    """Every cell of the pattern, at 20 px a module: OpenCV draws the same board."""
    pattern = Pattern(7, 5, 10.0)
    px_per_mm = 20.0
    assert MARK_SHARE * pattern.square_mm / 7 * px_per_mm == pytest.approx(20)
    ours = drawn(test_board(pattern, Place(148, 105)), px_per_mm)
    theirs = pattern.board.generateImage((1400, 1000), marginSize=0, borderBits=1)
    first = test_board(pattern, Place(148, 105)).shapes[0]
    x, y = round(first.x_mm * px_per_mm), round(first.y_mm * px_per_mm)
    cut = ours[y : y + 1000, x : x + 1400]
    differing = (cut < 128) != (theirs < 128)
    assert differing.mean() < 0.02  # its edges fall on other pixels
    inner = np.zeros_like(differing)
    inner[10::20, 10::20] = True  # the middles of modules, and of squares
    assert not (differing & inner).any()


def test_too_large_is_refused_with_what_fits():
    place = Place(297, 210)
    with pytest.raises(InputError) as caught:
        test_board(Pattern(30, 20, 10.0), place)
    told = str(caught.value)
    assert "300 x 200 mm" in told and "297 x 210 mm" in told
    counts = told.split("--squares ")[1].split()[0]
    columns, rows = map(int, counts.split("x"))
    test_board(Pattern(columns, rows, 10.0), place)
    for more in (Pattern(columns + 1, rows, 10.0), Pattern(columns, rows + 1, 10.0)):
        with pytest.raises(InputError):
            test_board(more, place)


def test_a_chessboard_is_told_in_its_own_counts():
    assert options_of(Pattern(10, 7, 25.0, coded=False)) == "--chessboard 9x6 --square-mm 25"
    test_board(Pattern(10, 7, 25.0, coded=False), Place(297, 210))
    with pytest.raises(InputError, match="--chessboard"):
        test_board(Pattern(12, 9, 25.0, coded=False), Place(297, 210))


def test_hopeless_paper():
    with pytest.raises(InputError, match="larger paper"):
        largest_pattern(30.0, Place(105, 74))
    with pytest.raises(InputError, match="larger paper"):
        test_board(Pattern(3, 3, 100.0), Place(105, 74))


def test_a_great_sheet_of_small_squares_has_marks_enough():
    pattern = largest_pattern(5.0, Place(*PAPERS_MM["A2"][::-1]))
    assert len(pattern.board.getIds()) <= 1000
    assert pattern.columns <= 60 and pattern.rows <= 60
