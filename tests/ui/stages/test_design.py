"""The board's files: what was read stands there at once, and what is wrong is told."""

from __future__ import annotations

import json

import pytest
from PyQt6.QtCore import QMimeData, QPointF, Qt, QUrl
from PyQt6.QtGui import QDropEvent
from PyQt6.QtWidgets import QPushButton

from drillaid.guidance.events import Event
from drillaid.journal.resume import start
from ui.settings import recent_designs


@pytest.fixture
def stage(window):
    return window.stages["design"]


def read(qtbot, window, paths):
    """Dropped on the window, as a file manager does it."""
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(path) for path in paths])
    window.dropEvent(
        QDropEvent(
            QPointF(300, 300),
            Qt.DropAction.CopyAction,
            data,
            Qt.MouseButton.LeftButton,
            Qt.KeyboardModifier.NoModifier,
        )  # fmt: skip
    )
    qtbot.waitUntil(lambda: window.job.job is not None, timeout=20_000)


def test_what_was_read_stands_there_at_once(qtbot, window, stage, board_files):
    read(qtbot, window, board_files)
    told = stage.facts.text().replace("&nbsp;", " ")
    assert "20 holes" in stage.headline.text() and "46.0 × 30.0 mm" in stage.headline.text()
    for size, count in window.job.job.bit_counts:
        assert f"{size:g} mm" in told and f">{count} " in told
    assert "dual row 2 × 4" in told and "small-plated.drl" in told
    assert stage.go.isEnabled() and stage.field.currentWidget() is stage.map


def test_a_setting_is_read_with_at_once(qtbot, window, stage, board_files):
    read(qtbot, window, board_files)
    before = window.job.job
    stage.settings.bits.setText("1.0; 3.2")
    stage.settings.bits.editingFinished.emit()
    qtbot.waitUntil(lambda: window.job.job is not before, timeout=20_000)
    assert window.job.job.work.bits_mm == (1.0, 3.2)
    assert window.job.settings.bits == "1,3.2"
    stage.settings.face.setCurrentIndex(1)
    qtbot.waitUntil(lambda: window.job.job.face == "top", timeout=20_000)
    assert "top lands" in stage.facts.text()  # only the bottom copper was given


@pytest.mark.parametrize("text", ["one", "0.8; 99"])
def test_bits_that_are_none_are_told(qtbot, window, stage, board_files, text):
    read(qtbot, window, board_files)
    stage.settings.bits.setText(text)
    stage.settings.bits.editingFinished.emit()
    assert "bit" in window.line.text() and not stage.go.isEnabled()
    stage.settings.bits.setText("")
    stage.settings.bits.editingFinished.emit()
    assert stage.go.isEnabled()


def test_wrong_files_leave_what_was_read(qtbot, window, stage, board_files, tmp_path):
    read(qtbot, window, board_files)
    letter = tmp_path / "a <letter>.txt"
    letter.write_text("Dear all,\n")
    window.open_paths([str(letter)])
    qtbot.waitUntil(lambda: not stage.trouble.isHidden(), timeout=10_000)
    assert "&lt;letter&gt;" in stage.trouble.text() and "stays" in stage.trouble.text()
    assert window.job.job is not None and stage.go.isEnabled()


def test_designs_opened_before_are_offered(qtbot, window, stage, board_files):
    read(qtbot, window, board_files)
    assert recent_designs(window.job.settings) == [tuple(board_files)]
    gone = json.dumps([["/nowhere/at-all.drl"], board_files])
    window.job.remember(recent=gone)
    window.job.job = None
    stage.enter()
    offered = [b for b in stage.panel.findChildren(QPushButton) if b.toolTip().startswith("/")]
    assert len(offered) == 1
    offered[0].click()
    qtbot.waitUntil(lambda: window.job.job is not None, timeout=20_000)


def test_a_board_begun_before_is_offered(qtbot, window, stage, board_files, small_job):
    journal = window.job.open_journal()
    board = start(journal, small_job.design, small_job.work, face="bottom", thickness_mm=1.6)
    journal.record(board, Event(1.0, "hole_done", hole=3))
    read(qtbot, window, board_files)
    offered = [b for b in stage.panel.findChildren(QPushButton) if f"board {board}" in b.text()]
    assert len(offered) == 1 and window.job.board is None
    offered[0].click()
    assert window.job.board == board
    assert not stage.settings.isEnabled()


@pytest.mark.parametrize("scale", [1.0, 1.8])
def test_all_of_it_fits_on_a_small_screen(qtbot, window, stage, board_files, scale):
    window.job.remember(type_scale=scale)
    read(qtbot, window, board_files)
    qtbot.wait(50)
    room = 1366 - 20 - window.way.minimumSizeHint().width()
    assert stage.minimumSizeHint().width() <= room
    assert stage.minimumSizeHint().height() <= 768 - 100
    for button in (stage.choose, stage.folder, stage.go):
        assert button.width() >= button.minimumSizeHint().width()


def test_by_keyboard_alone(qtbot, window, stage, board_files):
    read(qtbot, window, board_files)
    assert stage.go.hasFocus() or window.focusWidget() is stage.go
    qtbot.keyClick(stage.go, Qt.Key.Key_Return)
    assert window.at == "bench"
