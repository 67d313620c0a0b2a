from __future__ import annotations

import random

import pytest
from support.bench_job import SPINDLE, Job, work_of

from drillaid.design.model import Design, Hole
from drillaid.errors import StorageError, UsageError
from drillaid.guidance import guidance as g
from drillaid.guidance.events import AsSeen, Confirm, GoTo, Next, Revisit, Skip, Undo
from drillaid.guidance.session import Session
from drillaid.journal.journal import Journal, design_hash
from drillaid.journal.resume import resume, spindle_of, start

DESIGN = Design("small", tuple(Hole(n, 2.54 * n, 0.0, 0.8) for n in range(1, 8)))


@pytest.fixture
def journal(tmp_path):
    with Journal.open(tmp_path) as journal:
        yield journal


def test_a_session_goes_on_where_it_was(journal):
    rng = random.Random(3)
    work = work_of((0.8, 5), (1.0, 3), slot_in_last=True)
    board = start(journal, DESIGN, work, face="bottom")
    job = Job(work)
    kept = 0
    for _ in range(120):
        action = rng.choice(
            [Confirm(), Confirm(forced=True), Undo(), Skip(), Next(), Revisit()]
            + [GoTo(rng.randrange(1, 9))]
        )
        if job.session.look(job.t).state == g.CHANGE_BIT and rng.random() < 0.7:
            job.fit(job.session.look(job.t).bit_change.bit_mm)
        job.act(action)
        journal.record(board, *job.events[kept:])
        kept = len(job.events)
        again = resume(journal, board, SPINDLE)
        assert again.progress == job.session.progress
    assert journal.board(board).done == job.session.progress.tally().done
    assert set(job.names()) >= {"hole_done", "stop_done", "skipped", "taken_back", "undone"}


def test_undo_reaches_back_over_the_break(journal):
    work = work_of((0.8, 3))
    board = start(journal, DESIGN, work)
    job = Job(work)
    job.fit(0.8)
    job.act(Confirm(forced=True))
    journal.record(board, *job.events)
    session = resume(journal, board, SPINDLE)
    guidance = session.act(Undo(), 0.0)
    assert guidance.refusal is None and guidance.progress.done == 0


def test_the_bit_is_asked_for_again(journal):
    board = start(journal, DESIGN, work_of((0.8, 3)))
    job = Job(work_of((0.8, 3)))
    job.fit(0.8)
    journal.record(board, *job.events)
    assert resume(journal, board, SPINDLE).look(0.0).state == g.CHANGE_BIT


def test_another_design_is_refused(journal):
    board = start(journal, DESIGN, work_of((0.8, 3)))
    moved = Design("small", (Hole(1, 0.0, 0.001, 0.8), *DESIGN.holes[1:]))
    assert design_hash(moved) != design_hash(DESIGN)
    assert design_hash(Design("other name", DESIGN.holes)) == design_hash(DESIGN)
    with pytest.raises(UsageError, match="begun with other holes"):
        resume(journal, board, SPINDLE, design=moved)
    assert isinstance(resume(journal, board, SPINDLE, design=DESIGN), Session)


def test_a_record_that_contradicts_itself_is_no_traceback(journal):
    work = work_of((0.8, 3))
    board = start(journal, DESIGN, work)
    job = Job(work)
    job.fit(0.8)
    job.act(Confirm(forced=True))
    facts = [e for e in job.events if e.event == "hole_done"]
    journal.record(board, *facts, *facts)
    with pytest.raises(StorageError, match="contradicts itself"):
        resume(journal, board, SPINDLE)
    with pytest.raises(StorageError, match="contradicts itself"):
        resume(journal, journal.start_board("no stops", "x", holes=1), SPINDLE)


def test_another_place_of_the_spindle_is_recorded_once(journal):
    board = start(journal, DESIGN, work_of((0.8, 5)), spindle_mm=list(SPINDLE))
    record = journal.board(board)
    resume(journal, board, SPINDLE)
    assert journal.events(board) == []
    moved = (SPINDLE[0] + 0.1, SPINDLE[1])
    for _ in range(2):
        resume(journal, board, moved)
    (event,) = journal.events(board)
    assert event.event == "spindle"
    assert spindle_of(record, []) == list(SPINDLE)
    assert spindle_of(record, [event]) == list(moved)
    older = journal.start_board("before that was kept", "x", holes=1)
    assert spindle_of(journal.board(older), []) is None


def test_what_was_put_right_by_the_board_outlives_the_break(journal):
    work = work_of((0.8, 4))
    board = start(journal, DESIGN, work)
    job = Job(work)
    job.fit(0.8)
    for action in (Confirm(forced=True), Confirm(forced=True), Skip()):
        job.act(action)
    after = job.act(AsSeen(drilled=(3, 4), undrilled=(1,)))
    assert after.progress.done == 3 and after.target.hole == 1
    journal.record(board, *job.events)
    assert resume(journal, board, SPINDLE).progress == job.session.progress
    record = journal.board(board)
    assert (record.done, record.skipped) == (3, 0)
    assert job.act(AsSeen(drilled=(9,))).refusal is not None
    with pytest.raises(ValueError, match="cannot be drilled and not"):
        job.session.ledger.apply("as_seen", None, {"drilled": [1], "undrilled": [1]})
    job.act(Undo())
    journal.record(board, job.events[-1])
    assert (journal.board(board).done, journal.board(board).skipped) == (2, 1)


def test_a_finished_board_is_open_again_once_a_hole_is_seen_to_be_missing(journal):
    work = work_of((0.8, 1))
    board = start(journal, DESIGN, work)
    job = Job(work)
    job.fit(0.8)
    job.act(Confirm(forced=True))
    journal.record(board, *job.events)
    assert journal.board(board).finished
    job.act(AsSeen(undrilled=(1,)))
    journal.record(board, job.events[-1])
    assert not journal.board(board).finished
