from __future__ import annotations

import numpy as np
import pytest

from drillaid.design.gerber import read_copper
from drillaid.design.model import Design, Hole, Land, Outline
from drillaid.design.picture import COPPER_COLOURS, HOLE, MARGIN_MM, picture_of

EDGE = Outline((np.array([[0, 0], [40, 0], [40, 20], [0, 20]], float),))
HOLES = (Hole(1, 5, 5, 2.0), Hole(2, 30, 15, 2.0, slot_to_mm=(34, 15)))
LANDS = (Land("round", (4, 4), 0, (5, 5)), Land("oblong", (9, 4), 0, (32, 15)))


def colour_at(picture, x, y, face, scale=10.0):
    """Design mm to the picture by hand: margin, then y down, x mirrored on the bottom."""
    column = (x + MARGIN_MM if face == "top" else 40 + MARGIN_MM - x) * scale - 0.5
    row = (20 + MARGIN_MM - y) * scale - 0.5
    return tuple(int(v) for v in picture[round(row), round(column)])


@pytest.mark.parametrize("face", ["top", "bottom"])
def test_holes_and_lands_are_where_the_design_has_them(face):
    picture = picture_of(Design("d", HOLES, LANDS, outline=EDGE), face=face, numbers=False)
    assert picture.shape == (240, 440, 3) and picture.dtype == np.uint8
    for x, y in ((5, 5), (30, 15), (32, 15), (34, 15)):
        assert colour_at(picture, x, y, face) == HOLE
    for x, y in ((6.5, 5), (32, 16.5), (28.2, 15)):
        assert colour_at(picture, x, y, face) == COPPER_COLOURS[face]
    assert colour_at(picture, 20, 10, face) not in (HOLE, COPPER_COLOURS[face])


def test_the_copper_of_the_face_is_shown():
    text = b"%FSLAX46Y46*%%MOMM*%%ADD10R,6X2*%D10*X20000000Y10000000D03*M02*"
    copper = read_copper(text, "c.gbr", "bottom").copper
    design = Design("d", HOLES, LANDS, {"bottom": copper}, EDGE)
    picture = picture_of(design, numbers=False)
    assert colour_at(picture, 22.8, 10.8, "bottom") == COPPER_COLOURS["bottom"]
    assert colour_at(picture, 22.8, 11.3, "bottom") != COPPER_COLOURS["bottom"]
    assert colour_at(picture, 6.5, 5, "bottom") != COPPER_COLOURS["bottom"]  # lands give way


def test_numbers_stand_beside_every_hole():
    design = Design("d", HOLES, LANDS, outline=EDGE)
    plain, numbered = picture_of(design, numbers=False), picture_of(design)
    changed = np.argwhere((plain != numbered).any(axis=2))
    assert len(changed) > 20
    assert colour_at(numbered, 5, 5, "bottom") == HOLE  # not over the hole itself


def test_any_design_gets_a_picture():
    assert picture_of(Design("empty", ())).size
    far = picture_of(Design("far", (Hole(1, 0, 0, 1), Hole(2, 5000, 10, 1))))
    assert max(far.shape) < 3000
