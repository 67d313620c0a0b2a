"""The page of reference marks."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from calibration.sheet.marks import marks_sheet
from calibration.sheet.paper import paper_mm
from calibration.sheet.shapes import Cells
from drillaid.errors import InputError
from drillaid.rig import marks


@pytest.mark.parametrize("upright", [False, True])
@pytest.mark.parametrize("name", ["A3", "A4", "A5", "Letter"])
def test_every_mark_once_with_its_white_rim_on_the_page(name, upright):
    width, height = paper_mm(name, upright=upright)
    sheet = marks_sheet(width, height)
    cells = [shape for shape in sheet.shapes if isinstance(shape, Cells)]
    assert [c.black.tobytes() for c in cells] == [
        marks.black_modules(k).tobytes() for k in range(1, marks.COUNT + 1)
    ]
    places = np.array([(c.x_mm, c.y_mm) for c in cells])
    assert places.min() > 8 and (places < (width - 20, height - 20)).all()
    for a, b in itertools.combinations(places, 2):
        assert np.abs(a - b).max() >= marks.SIDE_MM + 2 * marks.RIM_MM
    lines = [text for text in sheet.texts if len(text.words) > 2]
    assert all(text.x_mm + text.room_mm <= width - 8 for text in lines)
    assert max(text.y_mm for text in lines) < places[:, 1].min() - marks.RIM_MM
    numbers = [text for text in sheet.texts if len(text.words) <= 2]
    assert [int(text.words) for text in numbers] == list(range(1, marks.COUNT + 1))


def test_the_page_says_how_to_place_them():
    words = " ".join(text.words for text in marks_sheet(297, 210).texts)
    for needed in ("three", "four", "flat", "wide", "100 %", "Switch the drill off"):
        assert needed in words


def test_a_page_too_small():
    with pytest.raises(InputError, match="A5"):
        marks_sheet(105, 74)
