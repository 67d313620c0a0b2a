"""After drilling: photographed, measured, filed, and on to the next board."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from PyQt6.QtCore import Qt
from support.drilled_board import drilled_bench, record_holes
from support.drilled_board import small_job as fresh_job

from drillaid.journal.resume import start
from ui.job import PRACTICE, Bench


@pytest.fixture
def stage(window, tmp_path):
    """A small board drilled but for hole 6, under the practice camera."""
    state = window.job
    job = fresh_job(tmp_path)
    bench = drilled_bench(job, leave=(6, 10))
    state.make_practice = lambda job, seed: bench
    state.set_job(job)
    state.set_bench(Bench(PRACTICE))
    journal = state.open_journal()
    board = start(journal, job.design, job.work, face="bottom", thickness_mm=1.6)
    record_holes(journal, board, job, leave=(10,))
    state.set(board=board, found=True)
    window.go("after")
    return window.stages["after"]


def photograph(qtbot, stage):
    qtbot.waitUntil(lambda: stage.sight is not None and stage.sight.image is not None,
                    timeout=20_000)  # fmt: skip
    qtbot.keyClick(stage, Qt.Key.Key_C)
    qtbot.waitUntil(lambda: stage.looked is not None, timeout=40_000)


def test_the_board_is_photographed_measured_and_filed(qtbot, window, stage, monkeypatch):
    opened = []
    monkeypatch.setattr(
        "ui.stages.after.QDesktopServices.openUrl", lambda url: opened.append(url) or True
    )
    photograph(qtbot, stage)
    # holes 6 and 10 were left
    assert "Not drilled: 2 of 20" in stage.title.text()
    assert ">6</a>" in stage.words.text() and "Will the parts go in?" in stage.words.text()
    # Recorded as drilled, and not there: said at once.
    assert "recorded as drilled but not there: hole 6" in stage.message.text()
    (look,) = window.job.open_journal().inspections(window.job.board)
    assert look.data["summary"]["undrilled"] == 2 and look.picture is not None
    qtbot.keyClick(stage, Qt.Key.Key_R)
    assert opened[0].toLocalFile() == str(stage.looked.report)
    assert "Simulated bench" in stage.looked.report.read_text(encoding="utf-8")
    stage.words.linkActivated.emit("hole:6")
    assert stage.result._chosen == 6
    seed = window.job.practice
    qtbot.keyClick(stage, Qt.Key.Key_N)
    assert window.at == "finding" and window.job.board is None
    assert seed is not None and stage.looked is None


def test_a_photograph_of_something_else_is_told(qtbot, window, stage, tmp_path):
    path = tmp_path / "wall.png"
    cv2.imwrite(str(path), np.full((720, 1280, 3), 90, np.uint8))
    stage.look_at_file(str(path))
    qtbot.waitUntil(lambda: "not found" in stage.title.text(), timeout=40_000)
    assert stage.looked is None and window.job.open_journal().inspections(1) == []
    stage.look_at_file(str(tmp_path / "nothing.png"))
    assert "nothing.png" in stage.message.text()


def test_a_full_disk_costs_the_record_and_not_the_sight(qtbot, window, stage, monkeypatch):
    from drillaid.errors import StorageError

    def full(*args):
        raise StorageError("the disk is full.")

    monkeypatch.setattr("ui.stages.after.file_check", full)
    photograph(qtbot, stage)
    assert "the disk is full" in stage.message.text()
    assert stage.looked.drawn is not None and not stage.open.isEnabled()


@pytest.mark.parametrize("scale", [1.0, 1.8])
def test_it_fits_on_a_small_screen(window, stage, scale):
    window.job.remember(type_scale=scale)
    room = 1366 - 20 - window.way.minimumSizeHint().width()
    assert stage.minimumSizeHint().width() <= room
    assert stage.minimumSizeHint().height() <= 768 - 100
