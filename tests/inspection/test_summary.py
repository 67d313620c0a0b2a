from __future__ import annotations

import numpy as np
import pytest
from support.drawn_board import design

from drillaid.design.parts import Part
from drillaid.inspection.fit import Pin
from drillaid.inspection.result import HoleFinding
from drillaid.inspection.summary import conclude, judge_part

POST = Pin("0.64 mm square post", "square", 0.64)


def _drilled(hole, off=(0.0, 0.0), diameter=1.1, **more) -> HoleFinding:
    place = np.add(hole.xy_mm, off)
    return HoleFinding(
        hole.number, "drilled", "", 1.0, tuple(place), (0.0, 0.0), off, float(np.hypot(*off)),
        tuple(place), diameter, 0.004, 0.2, 0.0, 0.006, 0.005, **more,
    )  # fmt: skip


def _row(board) -> Part:
    return Part("row of 5, 2.54 mm pitch", "row", tuple(h.number for h in board.holes), 2.54, 1)


def _board():
    return design(5, 1, drill_mm=1.1)


def test_a_good_row_fits_with_the_clearance_left():
    board = _board()
    found = {h.number: _drilled(h) for h in board.holes}
    part = judge_part(_row(board), board, found, pin=POST)
    assert part.fits is True
    # 1.1 mm hole, 0.905 mm diagonal: 0.0975 mm on each side
    assert part.play_mm == pytest.approx((1.1 - 0.905097) / 2, abs=1e-5)
    assert not part.close
    assert part.probability == 1.0
    assert "goes in" in part.sentence


def test_one_wandered_hole_spoils_the_row_and_is_named():
    board = _board()
    found = {h.number: _drilled(h) for h in board.holes}
    found[3] = _drilled(board.holes[2], (0.0, 0.4))
    part = judge_part(_row(board), board, found, pin=POST)
    assert part.fits is False
    # between its two neighbours the best line halves the offset: a post stands 0.2 mm off,
    # its far corners 0.32 along the row and 0.32 + 0.2 across from the middle of a 1.1 mm hole
    assert part.play_mm == pytest.approx(0.55 - np.hypot(0.32, 0.52), abs=0.001)
    assert part.probability == 0.0
    assert "does not go in" in part.sentence


def test_a_part_with_a_missing_hole_is_not_judged():
    board = _board()
    found = {h.number: _drilled(h) for h in board.holes}
    found[2] = HoleFinding(2, "undrilled", "the pad is untouched")
    part = judge_part(_row(board), board, found, pin=POST)
    assert (part.fits, part.play_mm) == (None, None)
    assert part.reason == "hole 2 not drilled yet"
    found[2] = HoleFinding(2, "hidden", "outside the picture")
    assert judge_part(_row(board), board, found).reason == "hole 2 not measured"


def test_a_play_within_its_own_error_is_too_close_to_call():
    board = _board()
    found = {h.number: _drilled(h, diameter=0.915) for h in board.holes}
    part = judge_part(_row(board), board, found, pin=POST)
    assert part.close
    assert "too close to call" in part.sentence


def test_summary_figures_by_hand():
    board = _board()
    offs = [(0.1, 0.0), (0.1, 0.0), (0.1, 0.0), (0.1, 0.3)]
    found = [_drilled(h, off) for h, off in zip(board.holes, offs, strict=False)]
    found.append(HoleFinding(5, "hidden", "outside the picture"))
    inspection = conclude(found, [_row(board)], board, true_scale=True)
    s = inspection.summary
    assert (s.holes, s.drilled, s.undrilled, s.hidden) == (5, 4, 0, 1)
    assert s.mean_off_mm == pytest.approx((0.1, 0.075))
    assert s.rms_mm == pytest.approx(np.sqrt((3 * 0.01 + 0.1) / 4))
    assert (s.worst_hole, s.worst_mm) == (4, pytest.approx(np.sqrt(0.1)))
    assert (s.parts, s.parts_fitting, s.parts_unknown) == (1, 0, 1)
    assert inspection.ok  # nothing fails to fit; what is hidden is told
    assert inspection.message.startswith("4 of 5 holes drilled, 1 not to be seen; 95 % within")


def test_a_board_not_drilled_at_all_has_no_figures():
    board = _board()
    found = [HoleFinding(h.number, "undrilled", "the pad is untouched") for h in board.holes]
    s = conclude(found, [], board, true_scale=True).summary
    assert (s.drilled, s.undrilled, s.rms_mm, s.worst_hole, s.mean_off_mm) == (0, 5, None, None, None)


def test_a_board_of_which_nothing_was_measured_is_a_refusal_with_advice():
    board = _board()

    def of(*states):
        found = [HoleFinding(h.number, s) for h, s in zip(board.holes, states, strict=True)]
        return conclude(found, [], board, true_scale=True)

    undrilled = of("undrilled", "undrilled", "undrilled", "hidden", "undrilled")
    assert undrilled.status == "undrilled" and not undrilled.ok
    assert "4 of 5 pads are untouched, 1 are not" in undrilled.message
    assert "Drill it first" in undrilled.message
    hidden = of(*["hidden"] * 5)
    assert hidden.status == "not_seen" and not hidden.ok
    assert "None of the 5 holes" in hidden.message and "wipe dust off" in hidden.message


def test_many_hidden_holes_come_with_advice():
    board = _board()
    found = [_drilled(h) for h in board.holes]
    assert "wipe" not in conclude(found, [], board, true_scale=True).message
    found[2] = HoleFinding(3, "hidden")
    assert "wipe the dust off" in conclude(found, [], board, true_scale=True).message
