from __future__ import annotations

from dataclasses import replace

import pytest
from PyQt6.QtCore import Qt
from support.small_board import MM_PER_PX, SIZE

from drillaid.guidance import guidance as g
from drillaid.guidance.events import BitFitted, Confirm, GoTo
from drillaid.guidance.session import Session
from drillaid.journal.journal import SIMULATED, holes_now
from drillaid.journal.resume import start
from drillaid.simulation.bore_looks import BenchHabits
from drillaid.simulation.conditions import bench_for
from drillaid.simulation.rigs import nominal_rig


def go(qtbot, window, paths):
    """Design read, practice bench chosen, the board looked for."""
    window.open_paths(paths)
    qtbot.waitUntil(lambda: window.job.job is not None, timeout=20_000)
    window.go("bench")
    window.stages["bench"].go.click()
    assert window.at == "finding"
    qtbot.waitUntil(lambda: window.job.found, timeout=30_000)


def push_to_target(qtbot, window) -> None:
    """Pushes by what is shown, and looks again only at a picture taken after the push."""
    stage, job = window.stages["drilling"], window.job
    pushed_s = -1.0

    def push() -> bool:
        nonlocal pushed_s
        guidance = stage.sight.guidance
        taken_s = guidance.time_s - (guidance.latency_ms or 0.0) / 1000
        if guidance.off_mm is None or taken_s <= pushed_s:
            return False
        if guidance.distance_mm > 0.05:
            far = min(1.0, 8.0 / guidance.distance_mm)
            job.practice.move(*(far * v for v in guidance.off_mm))
            pushed_s = job.camera.camera.time_s
        return stage.sight.guidance.state == g.ON_TARGET

    qtbot.waitUntil(push, timeout=40_000)


def test_a_hole_is_drilled_on_the_practice_bench(qtbot, window, board_files):
    """From the files to the first hole, by the keys a person would use."""
    assert window.way.buttons["drilling"].isEnabled() is False
    go(qtbot, window, board_files)
    window.stages["finding"].go.click()
    stage = window.stages["drilling"]
    assert stage.cautions.isVisible()
    qtbot.keyClick(stage, Qt.Key.Key_Space)
    qtbot.waitUntil(stage.card.isVisible, timeout=20_000)
    qtbot.keyClick(stage.card, Qt.Key.Key_Space)
    qtbot.waitUntil(lambda: stage.sight.guidance.state != g.CHANGE_BIT, timeout=20_000)

    push_to_target(qtbot, window)
    hole = stage.sight.guidance.hole
    assert stage.confirm.isEnabled()
    qtbot.keyClick(stage, Qt.Key.Key_L)
    qtbot.keyClick(stage, Qt.Key.Key_Space)
    qtbot.waitUntil(lambda: stage.sight.guidance.progress.done == 1, timeout=20_000)
    assert window.job.session.progress.hole_is_done(hole)
    assert window.job.open_journal().board(window.job.board).done == 1


def test_a_step_that_cannot_be_gone_to_says_why(qtbot, window):
    window.go("finding")
    assert window.at == "design"
    assert window.line.text() == "The board's files come first"


def test_files_that_are_no_design_are_told(qtbot, window, tmp_path):
    letter = tmp_path / "letter.txt"
    letter.write_text("Dear all,\n")
    window.open_paths([str(letter)])
    qtbot.waitUntil(lambda: "letter.txt" in window.line.text(), timeout=10_000)
    assert window.job.job is None


@pytest.fixture
def gone_on_with(qtbot, window, board_files):
    """(the drilling stage, its board): holes 1 to 3 and 9 are on record, 1 to 4 are drilled."""
    job = window.job

    def lies_there(made, _seed):
        bench = bench_for(made.design, 7, rig=nominal_rig(*SIZE, MM_PER_PX, 0.05, 1.0, seed=4))
        bench.habits = BenchHabits.clean(7)
        for hole in made.design.holes[:4]:
            bench.board.drill(hole.xy_mm, hole.drill_mm)
        return bench

    job.make_practice = lies_there
    go(qtbot, window, board_files)
    journal = job.open_journal()
    design = replace(job.job.design, name=job.job.design.name + SIMULATED)
    board = start(journal, design, job.job.work)
    session = Session(job.job.work, job.spindle_mm())
    for hole in (1, 2, 3, 9):
        events = [*session.act(GoTo(hole), 0.0).events]
        bit = job.job.work.stops[session.progress.target].bit_mm
        for action in (BitFitted(bit), GoTo(hole), Confirm(forced=True)):
            events += session.act(action, 0.0).events
        journal.record(board, *events)
    window.stages["finding"].go.click()
    stage = window.stages["drilling"]
    qtbot.keyClick(stage, Qt.Key.Key_Space)  # the cautions
    assert stage.unfinished.isVisible()
    qtbot.keyClick(stage.unfinished, Qt.Key.Key_Space)
    qtbot.waitUntil(stage.differs.isVisible, timeout=40_000)
    return stage, board


def test_a_board_gone_on_with_is_held_against_its_record(qtbot, window, gone_on_with):
    stage, board = gone_on_with
    words = stage.differs.told.text()
    assert "not there: hole 9" in words and "not recorded: hole 4" in words
    assert not stage.confirm.isEnabled() and stage.sight.guidance.state == g.PAUSED
    journal = window.job.open_journal()
    assert holes_now(journal.events(board))[0] == {1, 2, 3, 9}  # nothing changed in silence
    qtbot.keyClick(stage.differs, Qt.Key.Key_B)
    qtbot.waitUntil(lambda: not stage.differs.isVisible(), timeout=20_000)
    assert stage.sight.guidance.state != g.PAUSED
    assert holes_now(journal.events(board))[0] == {1, 2, 3, 4}


def test_the_record_may_stand_and_is_not_asked_about_again(qtbot, window, gone_on_with):
    stage, board = gone_on_with
    qtbot.keyClick(stage.differs, Qt.Key.Key_Space)
    qtbot.waitUntil(lambda: not stage.differs.isVisible(), timeout=20_000)
    assert holes_now(window.job.open_journal().events(board))[0] == {1, 2, 3, 9}
    assert window.job.rechecking() is None


def test_another_board_leaves_the_record_of_the_first_as_it_is(qtbot, window, gone_on_with):
    stage, board = gone_on_with
    qtbot.keyClick(stage.differs, Qt.Key.Key_N)
    qtbot.waitUntil(lambda: window.at == "finding", timeout=10_000)
    assert window.job.board is None
    assert holes_now(window.job.open_journal().events(board))[0] == {1, 2, 3, 9}
