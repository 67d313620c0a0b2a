"""The table through the window, on the simulated one; what it truly did is in its own log."""

from __future__ import annotations

import pytest
from PyQt6.QtCore import Qt
from support.small_board import tiny_design

from drillaid.guidance.job import prepare
from drillaid.simulation.export import write_fabrication_files
from drillaid.table import job as j
from ui.job import PRACTICE, Bench
from ui.running.table_running import APART, STANDING, Answer

UP_MM = -12.05  # the simulated rig's safe height


@pytest.fixture(scope="module")
def tiny_job(tmp_path_factory):
    folder = tmp_path_factory.mktemp("tiny")
    paths = [str(path) for path in write_fabrication_files(tiny_design(), folder, "tiny")]
    return prepare(paths, face="bottom", thickness_mm=1.6, bits_mm=(0.8, 1.3), tolerance_mm=0.2)


@pytest.fixture
def stage(qtbot, window, tiny_job):
    """At the table, which is as quick as the computer; the camera is open."""
    window.job.set_job(tiny_job)
    window.job.set_bench(Bench(PRACTICE))
    window.job.set(found=True)
    made = window.stages["table"]
    made.paced = False
    window.go("table")
    assert window.at == "table" and window.way.buttons["drilling"].now
    qtbot.waitUntil(lambda: made.thread.sight is not None and made.thread.sight.image is not None,
                    timeout=20_000)  # fmt: skip
    return made


def table_of(stage):
    return stage.thread.parts.sim.table


def moved(table) -> list:
    return [h for h in table.log if h.what in ("motion", "home") or h.text == "on"]


def work(qtbot, stage, until) -> None:
    """A person who does what the cards ask for."""

    def step() -> bool:
        if stage.card.isVisible():
            qtbot.keyClick(stage.card, Qt.Key.Key_Space)
        return until()

    qtbot.waitUntil(step, timeout=60_000)


def test_a_board_is_drilled_through_the_window(qtbot, window, stage):
    table = table_of(stage)
    stage.panel.go.click()
    qtbot.waitUntil(stage.card.isVisible, timeout=10_000)
    assert "no emergency stop" in stage.card.cautions.text() and not moved(table)
    assert stage.panel.halt.isVisible() and stage.panel.halt.isEnabled()
    work(qtbot, stage, lambda: window.job.finished)
    holes = len(window.job.job.design.holes)
    record = window.job.open_journal().board(window.job.board)
    assert record.done == holes and record.finished and record.details["by"] == "table"
    bores = stage.thread.parts.sim.bores
    wanted = sorted(stop.bit_mm for stop in window.job.job.work.stops)
    assert sorted(bit_mm for _, bit_mm in bores) == wanted  # the card asked for the right ones
    qtbot.waitUntil(lambda: stage.thread.sight.state == APART, timeout=5000)
    assert not table.spinning
    window.go("after")
    assert window.at == "after"


def test_stop_in_the_middle_leaves_spindle_off_and_bit_up_and_it_can_go_on(qtbot, window, stage):
    table = table_of(stage)
    stage.panel.go.click()
    work(qtbot, stage, lambda: stage.thread.sight.state == j.DRILLING
         and stage.thread.sight.progress.tally().done >= 2)  # fmt: skip
    stage.panel.halt.click()
    qtbot.waitUntil(lambda: stage.thread.sight.state == APART, timeout=20_000)
    assert not table.spinning and table.axes.commanded[2] >= UP_MM
    last = [h for h in table.log if h.what in ("motion", "spindle")]
    assert any(h.text == "off" for h in last)
    assert "spindle is off" in window.line.text()
    before = len(table.log)
    qtbot.wait(300)
    assert not [h for h in table.log[before:] if h.what == "motion"]
    done = window.job.open_journal().board(window.job.board).done
    assert 2 <= done < len(window.job.job.design.holes)
    board = window.job.board
    stage.panel.go.click()  # goes on with the same board, from homing
    work(qtbot, stage, lambda: stage.thread.sight.progress.tally().done > done)
    assert window.job.board == board


def test_the_window_closed_while_it_drills_leaves_it_safe(qtbot, window, stage):
    table, thread = table_of(stage), stage.thread
    stage.panel.go.click()
    work(qtbot, stage, lambda: thread.sight.state == j.DRILLING)
    window.close()
    assert not table.spinning and table.axes.commanded[2] >= UP_MM
    assert not thread._thread.is_alive()


def test_home_and_jog_within_limits(qtbot, window, stage):
    table = table_of(stage)
    stage.panel.homing.click()
    assert stage.card.isVisible() and not moved(table)
    qtbot.keyClick(stage.card, Qt.Key.Key_Space)
    qtbot.waitUntil(lambda: stage.thread.sight.state == STANDING, timeout=20_000)
    x, y = stage.thread.sight.xy_mm
    stage.panel.jog.emit(5.0, 0.0)
    qtbot.waitUntil(lambda: abs(stage.thread.sight.xy_mm[0] - x - 5.0) < 0.01, timeout=10_000)
    qtbot.waitUntil(lambda: stage.thread.sight.state == STANDING, timeout=5000)
    lines = len(table.log)
    stage.panel.jog.emit(500.0, 0.0)
    qtbot.waitUntil(lambda: "beyond the soft limits" in window.line.text(), timeout=5000)
    assert not [h for h in table.log[lines:] if h.what == "motion"]
    assert not table.spinning
    qtbot.keyClick(stage, Qt.Key.Key_Escape)
    qtbot.waitUntil(lambda: stage.thread.sight.state == APART, timeout=10_000)


def test_a_port_that_is_none_is_told(qtbot, window, stage):
    stage.panel.port.setCurrentText("/dev/ttyUSB0")
    stage.panel.go.click()
    qtbot.waitUntil(lambda: "do not go together" in window.line.text(), timeout=5000)
    assert stage.thread.sight.state == APART


def test_a_confirmation_answers_only_the_question_that_was_shown(qtbot, stage):
    """A card answered late, or twice, confirms nothing else."""
    stage.panel.go.click()
    qtbot.waitUntil(stage.card.isVisible, timeout=10_000)
    shown = stage.thread.sight.view
    stage.thread.ask(Answer(shown.state, "another question"))
    qtbot.wait(300)
    assert stage.thread.sight.state == j.CAUTIONS and not moved(table_of(stage))
    stage.thread.ask(Answer(shown.state, shown.message))
    stage.thread.ask(Answer(shown.state, shown.message))
    qtbot.waitUntil(lambda: stage.thread.sight.state == j.CHANGE_BIT, timeout=20_000)
    qtbot.wait(200)
    assert stage.thread.sight.state == j.CHANGE_BIT


def test_the_stop_stays_in_sight_in_a_small_window_with_large_type(qtbot, window, stage):
    window.job.remember(type_scale=1.6)
    window.resize(1024, 640)
    qtbot.wait(100)
    halt = stage.panel.halt
    at = halt.mapTo(window, halt.rect().center())
    assert window.rect().contains(at) and window.childAt(at) is halt
    stage.panel.go.click()
    qtbot.waitUntil(stage.card.isVisible, timeout=10_000)
    assert window.childAt(halt.mapTo(window, halt.rect().center())) is halt  # no card over it


def test_the_hand_goes_on_where_the_table_was_stopped(qtbot, window, stage):
    stage.panel.go.click()
    work(qtbot, stage, lambda: stage.thread.sight.progress.tally().done >= 2)
    stage.panel.halt.click()
    qtbot.waitUntil(lambda: stage.thread.sight.state == APART, timeout=20_000)
    done, board = stage.thread.sight.progress.tally().done, window.job.board
    stage.panel.back.click()
    assert window.at == "drilling"
    hand = window.stages["drilling"]
    hand.cautions.press()
    qtbot.waitUntil(lambda: hand.sight is not None, timeout=20_000)
    assert window.job.board == board and hand.sight.guidance.progress.done == done
    assert len(window.job.practice.board.drilled) == done
