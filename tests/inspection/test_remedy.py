from __future__ import annotations

import numpy as np
import pytest
from support.drawn_board import design

from drillaid.design.model import Design
from drillaid.design.parts import Part
from drillaid.design.ring import ring_left
from drillaid.inspection.fit import Pin
from drillaid.inspection.result import HoleFinding
from drillaid.inspection.summary import judge_part

WIRE = Pin("0.8 mm round pin", "round", 0.8)
BITS = (0.8, 1.0, 1.1, 1.2, 1.3, 1.5, 2.0)


def judged(offs, *, land_mm=1.7, bits=BITS, count=6, lands=True):
    board = design(count, 1, land_mm=land_mm)
    if not lands:
        board = Design("bare", board.holes)
    found = {}
    for k, hole in enumerate(board.holes):
        off = offs.get(k + 1, (0.0, 0.0))
        at = tuple(np.add(hole.xy_mm, off))
        found[k + 1] = HoleFinding(
            k + 1, "drilled", "", 1.0, at, (0.0, 0.0), off, float(np.hypot(*off)), at,
            1.0, 0.002, 0.2, 0.0, 0.003, 0.003,
        )  # fmt: skip
    part = Part("row", "row", tuple(range(1, count + 1)), 2.54, 1)
    return board, judge_part(part, board, found, pin=WIRE, bits_mm=bits)


def test_the_hole_to_open_its_bit_and_the_ring_left():
    board, part = judged({3: (0.0, 0.28)}, land_mm=1.9)
    (opening,) = part.remedy.openings
    assert (opening.hole, opening.bit_mm) == (3, 1.2)
    assert opening.ring_mm == pytest.approx(
        ring_left(board.lands[2], np.add(board.holes[2].xy_mm, (0, 0.28)), 1.2)
    )


def test_where_its_land_forbids_it_other_holes_are_opened_as_well():
    # land 1.7: 1.2 mm would break out (0.85 - 0.28 - 0.6 < 0), 1.1 mm leaves 0.02 mm
    _, part = judged({3: (0.0, 0.28)}, land_mm=1.7)
    assert len(part.remedy.openings) > 1
    assert all(o.ring_mm > 0 for o in part.remedy.openings)


def test_a_thin_ring_is_warned_of_and_a_broken_one_not_offered():
    # land 1.9, 0.28 off, 1.2 mm bit: 0.95 - 0.28 - 0.6 = 0.07 mm of copper left
    _, part = judged({3: (0.0, 0.28)}, land_mm=1.9)
    assert part.remedy.openings[0].ring_mm == pytest.approx(0.07)
    assert "0.07 mm of copper is left at hole 3, under 0.150 mm" in part.remedy.sentence
    # land 2.4: 0.32 mm are left, nothing to warn of
    _, part = judged({3: (0.0, 0.28)}, land_mm=2.4)
    assert not part.remedy.openings[0].thin
    assert part.remedy.sentence.startswith("open hole 3 to 1.2 mm; then it goes in with 0.0")
    assert "copper" not in part.remedy.sentence


def test_past_saving_names_the_hole():
    # 0.6 mm off on a 1.7 mm land: no wider bit leaves a ring there, and the row's other holes
    # cannot give way so far
    _, part = judged({4: (0.1, 0.6)}, land_mm=1.7, bits=(0.8, 1.0, 1.1))
    assert not part.remedy.saves
    assert part.remedy.blame == 4 and part.remedy.alone
    assert "past saving" in part.remedy.sentence
    assert "hole 4 is to blame, 0.61 mm off its place" in part.remedy.sentence


def test_two_bad_holes_are_not_one_to_blame():
    _, part = judged({2: (0.0, 0.7), 5: (0.0, -0.7)}, bits=(0.8, 1.0))
    assert part.remedy.blame in (2, 5)
    assert not part.remedy.alone
    assert "not alone" in part.remedy.sentence


def test_where_no_land_is_known_the_pitch_limits_the_bit():
    _, part = judged({3: (0.0, 1.0)}, lands=False, bits=(1.5, 2.0))
    assert not part.remedy.saves  # 2.0 mm would leave half a millimetre between holes
    _, part = judged({3: (0.0, 0.4)}, lands=False, bits=(1.5, 2.0))
    assert [o.bit_mm for o in part.remedy.openings] == [1.5]
    assert part.remedy.openings[0].ring_mm is None


def test_only_bits_at_hand_are_named():
    _, part = judged({3: (0.0, 0.28)}, land_mm=2.4, bits=(1.0, 1.3))
    assert [o.bit_mm for o in part.remedy.openings] == [1.3]
    assert part.remedy.to_json()["open"] == [
        {"hole": 3, "bit_mm": 1.3, "ring_mm": pytest.approx(1.2 - 0.28 - 0.65)}
    ]


def test_a_part_that_goes_in_has_no_remedy():
    _, part = judged({})
    assert part.fits and part.remedy is None
