"""The table through the window, on the simulated one; what it truly did is in its own log."""

from __future__ import annotations

import numpy as np
import pytest
from PyQt6.QtCore import Qt
from support.small_board import tiny_design
from support.table_bench import QUICK, TableBench, setup_for

from calibration.table_job import measure as measure_table
from calibration.table_tour import Plan, Tour
from drillaid.guidance.job import prepare
from drillaid.simulation.export import write_fabrication_files
from drillaid.simulation.rigs import nominal_rig
from drillaid.table import job as j
from ui.job import PRACTICE, Bench
from ui.running.table_measuring import MEASURING
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


def test_all_keys_beside_the_picture_are_whole_and_in_sight(qtbot, window, stage):
    qtbot.wait(100)
    panel = stage.panel
    for key in (panel.find, panel.homing, panel.measuring, panel.go, panel.back, panel.halt):
        area = key.parentWidget()
        while area.parentWidget() is not None and area.objectName() != "qt_scrollarea_viewport":
            area = area.parentWidget()  # what cuts it, or the window itself
        place = key.rect().translated(key.mapTo(area, key.rect().topLeft()))
        assert area.rect().contains(place), key.text()
    panel.measuring.click()
    qtbot.waitUntil(stage.card.isVisible, timeout=5000)
    assert not stage.card._scroll.verticalScrollBar().isVisible()  # all cautions at once
    words = stage.card.cautions
    assert words.height() >= words.heightForWidth(words.width())


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


# --- measuring the table -----------------------------------------------------------------


def measure(qtbot, stage) -> None:
    """As a person does it: the button, the card with its cautions, then waiting."""
    stage.thread._plan = Plan(targets=3, runs=2)
    stage.panel.measuring.click()
    qtbot.waitUntil(stage.card.isVisible, timeout=10_000)
    assert "no emergency stop" in stage.card.cautions.text()
    assert "out of the chuck" in stage.card.told.text()
    assert not moved(table_of(stage))
    qtbot.keyClick(stage.card, Qt.Key.Key_Space)


def test_the_table_is_measured_in_the_window_and_kept_only_when_accepted(qtbot, window, stage):
    table, before = table_of(stage), stage.thread.parts.setup.matrix.copy()
    measure(qtbot, stage)
    qtbot.waitUntil(lambda: stage.thread.sight.state == MEASURING, timeout=10_000)
    assert stage.panel.halt.isVisible() and stage.panel.halt.isEnabled()
    qtbot.waitUntil(lambda: not stage.panel.before.isVisible(), timeout=5000)
    assert not stage.pause.isEnabled() and not stage.skip.isEnabled()
    qtbot.waitUntil(lambda: "of 4 runs" in stage.panel.counts.text(), timeout=20_000)
    qtbot.waitUntil(stage.figures.isVisible, timeout=60_000)
    assert stage.panel.halt.isVisible()  # the card covers the picture alone
    assert not table.spinning and table.axes.commanded[2] >= UP_MM
    assert not [h for h in table.log if h.what == "spindle" and h.text == "on"]
    low = min(h.z for h in table.log if h.what == "motion" and "home" not in h.text)
    assert low >= UP_MM  # nothing but homing moved z, and upwards
    cells = [[cell.text() for cell in row] for row in stage.figures.cells]
    assert cells[0] == ["", "X", "Y"] and all("±" in text for row in cells[1:3] for text in row[1:])
    # the simulated table's own figures, against the stated sigmas
    truth = table.mechanics
    for text, true in zip(cells[1][1:], truth.scale, strict=True):
        scale, sigma = (float(word) for word in text.split(" ± "))
        assert abs(scale - true) <= 4 * sigma + 0.0002  # lost steps now and then widen it
    assert stage.thread.sight.state == APART
    assert (stage.thread.parts.setup.matrix == before).all()  # nothing is kept yet
    assert "no file" not in window.line.text()
    qtbot.keyClick(stage.figures, Qt.Key.Key_Space)
    qtbot.waitUntil(lambda: "no file was written" in window.line.text(), timeout=5000)
    assert stage.thread.parts.setup.matrix == pytest.approx(truth.matrix, abs=0.003)
    assert not stage.figures.isVisible()
    window.go("finding")
    window.go("table")  # it is still known when the stage is come back to
    qtbot.waitUntil(lambda: stage.thread.parts is not None, timeout=20_000)
    assert stage.thread.parts.setup.matrix == pytest.approx(truth.matrix, abs=0.003)


def test_figures_that_are_not_wanted_change_nothing(qtbot, window, stage):
    """Measured with an eye that knows the truth, which is quick; the card is the same."""
    bench = TableBench(setup=setup_for(QUICK, matrix=np.eye(2)))
    tour = Tour(bench.machine, bench.eye, nominal_rig(1280, 720, 0.1), bench.xy, Plan(3, 2))
    measured, before = measure_table(bench.machine, tour), stage.thread.parts.setup.matrix.copy()
    stage.thread.measured.emit(measured)
    assert stage.figures.isVisible() and "practice bench" in stage.figures.buttons[0].text()
    stage.figures.buttons[1].click()
    qtbot.wait(200)
    assert not stage.figures.isVisible()
    assert (stage.thread.parts.setup.matrix == before).all()
    assert window.job.practice_table is None
    stage.figures.offer(measured, "/home/me/bench.toml")  # on a real bench
    assert "Write it into /home/me/bench.toml" in stage.figures.buttons[0].text()


def test_the_stop_breaks_measuring_off_and_says_so(qtbot, window, stage):
    table = table_of(stage)
    measure(qtbot, stage)
    qtbot.waitUntil(lambda: "of 4 runs" in stage.panel.counts.text()
                    and stage.thread.sight.runs[0] >= 1, timeout=30_000)  # fmt: skip
    qtbot.keyClick(stage, Qt.Key.Key_Escape)
    qtbot.waitUntil(lambda: stage.thread.sight.state == APART, timeout=10_000)
    assert "nothing was measured" in window.line.text()
    before = len(table.log)
    qtbot.wait(300)
    assert not [h for h in table.log[before:] if h.what == "motion"]
    assert not stage.figures.isVisible() and window.job.practice_table is None
    stage.panel.homing.click()  # and the table can be used again
    qtbot.waitUntil(lambda: stage.thread.sight.state == STANDING, timeout=20_000)


def test_a_table_that_stands_still_while_it_is_measured_is_told_over_the_picture(
    qtbot, window, stage
):
    table = table_of(stage)
    measure(qtbot, stage)
    qtbot.waitUntil(lambda: stage.thread.sight.state == MEASURING
                    and stage.thread.sight.runs[0] >= 1, timeout=30_000)  # fmt: skip
    table.axes.stuck.add(0)
    table.axes.stuck.add(1)
    qtbot.waitUntil(lambda: stage.thread.sight.state == APART, timeout=60_000)
    assert stage.thread.sight.view.state == j.STOPPED  # over the picture, until something else
    told = stage.thread.sight.view.message
    assert "coupling" in told and "spindle is off" in told and not stage.figures.isVisible()


def test_the_printed_test_board_is_refused_where_none_lies(qtbot, window, stage):
    assert not stage.panel.height.isVisible()
    stage.panel.follow.setCurrentIndex(1)
    assert stage.panel.height.isVisible()
    measure(qtbot, stage)
    qtbot.waitUntil(lambda: "no printed test board" in window.line.text(), timeout=5000)
    assert stage.thread.sight.state == APART and not moved(table_of(stage))
