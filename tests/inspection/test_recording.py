from __future__ import annotations

import math

import numpy as np
import pytest
from support.drawn_board import design
from support.drilled_journal import drill_board

from drillaid.geometry import Affine
from drillaid.guidance import guidance as g
from drillaid.guidance.events import BitFitted, Confirm, Event, RegistrationView
from drillaid.guidance.order import plan_order
from drillaid.guidance.session import Session
from drillaid.guidance.work import Work
from drillaid.inspection.learning import common_offset
from drillaid.inspection.recording import INSPECTED, board_to_record_with, drilled_holes
from drillaid.inspection.wear import bit_uses, record_new_bit
from drillaid.journal.journal import Journal
from drillaid.journal.resume import start


@pytest.fixture
def journal(tmp_path):
    clock = [1_700_000_000.0]
    with Journal.open(tmp_path, clock=lambda: clock[0]) as opened:
        opened.clock = clock
        yield opened


def spindle(at):
    return lambda thickness_mm: np.asarray(at, dtype=float)


def test_offsets_come_back_in_bench_axes_whatever_way_the_board_lay(journal):
    """Drilled truth: every hole (0.09, -0.04) mm from where the axis was said to be.

    The board is turned another way at each hole and lies face down, so that the same
    offset has another direction on the drawing every time.
    """
    rng = np.random.default_rng(1)
    drill_board(journal, design(6, 5), rng, truth_mm=(0.09, -0.04), scatter_mm=0.03)
    learned = drilled_holes(journal)
    assert len(learned.holes) == 30 and not learned.silent
    offset = common_offset(learned.holes)
    assert offset.systematic
    assert math.dist(offset.off_mm, (0.09, -0.04)) < 3 * offset.sigma_mm < 0.06
    # the drawing's own axes would have hidden it: there the mean is far smaller
    assert {d.bit_mm for d in learned.holes} == {1.0}


def test_what_was_taken_back_or_not_measured_does_not_count(journal):
    rng = np.random.default_rng(2)
    board = drill_board(journal, design(4, 3), rng, unseen=(5, 6), undo_last=True)
    numbers = {d.hole for d in drilled_holes(journal).holes}
    assert numbers == set(range(1, 12)) - {5, 6}
    assert journal.board(board).done == 11


def test_boards_drilled_by_another_place_of_the_spindle_are_brought_together(journal):
    rng = np.random.default_rng(3)
    drill_board(journal, design(6, 5), rng, truth_mm=(0.2, 0.0), spindle_mm=(50.0, 40.0))
    drill_board(journal, design(6, 5), rng, truth_mm=(0.1, 0.0), spindle_mm=(50.1, 40.0))
    drill_board(journal, design(6, 5), rng, truth_mm=(0.1, 0.0), spindle_mm=(90.0, 40.0))
    learned = drilled_holes(journal, spindle_mm=spindle((50.1, 40.0)))
    assert {d.board for d in learned.holes} == {1, 2}
    assert "another rig" in learned.silent[3]
    assert common_offset(learned.holes).off_mm == pytest.approx((0.1, 0.0), abs=0.03)


def test_simulated_boards_teach_nothing_about_a_real_spindle(journal):
    rng = np.random.default_rng(4)
    board = drill_board(journal, design(), rng, name="drawn (simulated bench)")
    learned = drilled_holes(journal)
    assert learned.holes == () and "simulated" in learned.silent[board]
    assert drilled_holes(journal, boards=[board]).holes
    assert board_to_record_with(journal, design(), 1_700_000_000.0) is None


def test_the_board_to_record_with_is_the_newest_of_that_design_and_not_old(journal):
    rng = np.random.default_rng(5)
    drill_board(journal, design(), rng)
    second = drill_board(journal, design(), rng)
    drill_board(journal, design(3, 3), rng)
    now = journal.clock[0]
    assert board_to_record_with(journal, design(), now + 3600).id == second
    assert board_to_record_with(journal, design(), now + 3 * 86400) is None
    assert board_to_record_with(journal, design(2, 2), now) is None


def test_bits_are_counted_and_a_new_one_begins_anew(journal):
    rng = np.random.default_rng(6)
    drill_board(journal, design(5, 4), rng)
    (use,) = bit_uses(journal)
    assert (use.bit_mm, use.holes, use.since_new, use.new) == (1.0, 20, 20, None)
    journal.clock[0] += 100.0
    record_new_bit(journal, 1.0)
    journal.clock[0] += 100.0
    drill_board(journal, design(3, 3), rng)
    (use,) = bit_uses(journal)
    assert (use.holes, use.since_new) == (29, 9)
    assert use.new == "2023-11-14T22:15:00Z"
    assert "9 of them since a new bit" in use.sentence


def test_a_whole_session_with_a_spindle_that_stands_elsewhere(journal):
    """The session's own events, as guidance writes them; the bit goes down where the axis
    really is, and what an inspection would find is worked out from the board's true place."""
    rng = np.random.default_rng(7)
    truth = np.array([0.11, 0.07])
    drawn = design(6, 4)
    work = Work.of(drawn, plan_order(drawn, list(drawn.drill_mm)))
    said = np.array([60.0, 45.0])
    session = Session(work, said)
    board = start(journal, drawn, work, spindle_mm=said.tolist(), thickness_mm=1.6)
    session.act(BitFitted(1.0), 0.0)
    turn = Affine.from_parts(rotation_rad=0.7, mirrored=True)
    at, found, t = np.array([55.0, 40.0]), {}, 0.0
    for frame in range(4000):
        t += 1 / 30
        lies = Affine(np.column_stack([turn.linear, at]))
        guidance = session.step(RegistrationView(frame, t, lies, np.full(24, 0.01)))
        journal.record(board, *guidance.events)
        if guidance.state == g.FINISHED:
            break
        if guidance.state == g.ON_TARGET:
            went = said + truth + rng.normal(0, 0.03, 2)
            asked = drawn.xy_mm[guidance.hole - 1]
            found[guidance.hole] = lies.inverse(went)[0] - asked
            guidance = session.act(Confirm(), t)
            journal.record(board, *guidance.events)
        if guidance.off_mm is not None:
            at = at + 0.6 * np.array(guidance.off_mm) + rng.normal(0, 0.004, 2)
    assert len(found) == 24
    rows = [
        {"hole": n, "state": "drilled", "off_mm": off.tolist(), "expected_error_mm": 0.01,
         "centre_error_mm": 0.005}
        for n, off in found.items()
    ]  # fmt: skip
    journal.record(board, Event(0.0, INSPECTED, detail={"holes": rows}))
    learned = drilled_holes(journal, spindle_mm=spindle(said))
    assert len(learned.holes) == 24
    offset = common_offset(learned.holes)
    assert offset.systematic
    assert math.dist(offset.off_mm, truth) < 3 * offset.sigma_mm < 0.06
