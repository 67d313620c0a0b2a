"""What goes wrong at a drill: said over the picture at once, and over by itself when it can be."""

from __future__ import annotations

import pytest
from PyQt6.QtCore import Qt
from support.children import program

from drillaid.errors import StorageError
from drillaid.guidance import guidance as g
from drillaid.guidance.events import BitFitted, Confirm
from drillaid.journal.journal import Journal
from drillaid.simulation.conditions import bench_for
from ui.job import PRACTICE, Bench

SIZE = 960, 540  # of the pictures: quicker than the camera's own


@pytest.fixture
def ready(window, small_job):
    """The board is found; the next key goes to the drill."""
    window.job.make_practice = lambda job, _seed: bench_for(job.design, 3, size=SIZE)
    window.job.set_job(small_job)
    window.job.set_bench(Bench(PRACTICE))
    window.job.cautions_read = True
    window.job.set(found=True)
    return window


@pytest.fixture
def drilling(qtbot, ready):
    """The drilling stage with a board that is seen and a bit in the chuck."""
    ready.go("drilling")
    stage = ready.stages["drilling"]
    qtbot.waitUntil(stage.card.isVisible, timeout=20_000)
    stage.thread.act(BitFitted(stage.sight.guidance.bit_change.bit_mm))
    qtbot.waitUntil(lambda: stage.sight.guidance.aim is not None, timeout=20_000)
    return stage


def says(qtbot, stage, *words: str) -> None:
    qtbot.waitUntil(lambda: any(word in stage.picture.over for word in words), timeout=15_000)


def comes_back(qtbot, stage) -> None:
    qtbot.waitUntil(
        lambda: not stage.picture.over and stage.sight.guidance.aim is not None, timeout=20_000
    )


def test_a_camera_that_is_unplugged_comes_back_by_itself(qtbot, drilling):
    camera = drilling.job.camera.camera
    camera.unplug()
    says(qtbot, drilling, "plug it in")
    assert not drilling.confirm.isEnabled()
    camera.plug_in()
    comes_back(qtbot, drilling)


def test_a_frozen_picture_is_not_drilled_by(qtbot, drilling):
    camera = drilling.job.camera.camera
    camera.freeze()
    says(qtbot, drilling, "frozen")
    assert drilling.sight.guidance.aim is None
    camera.freeze(False)
    comes_back(qtbot, drilling)


def test_a_light_that_goes_out_is_said(qtbot, drilling):
    camera = drilling.job.camera.camera
    camera.black()
    says(qtbot, drilling, "switch on the light")
    camera.black(False)
    comes_back(qtbot, drilling)


def test_a_board_that_is_taken_away_is_said_and_found_again(qtbot, drilling):
    bench = drilling.job.practice
    before = bench.pose
    bench.move(400.0, 0.0)
    says(qtbot, drilling, "not seen", "lost")
    assert drilling.figures.shown.startswith("NOT SEEN")
    bench.pose = before
    comes_back(qtbot, drilling)


def test_a_disk_that_is_full_costs_no_hole(qtbot, drilling, monkeypatch):
    record = Journal.record

    def full(self, board, *events):
        raise StorageError("The disk is full: free some space.")

    monkeypatch.setattr(Journal, "record", full)
    drilling.thread.act(Confirm(forced=True))
    says(qtbot, drilling, "disk is full")
    assert drilling.job.session.progress.tally().done == 0
    monkeypatch.setattr(Journal, "record", record)
    drilling.thread.act(Confirm(forced=True))
    qtbot.waitUntil(lambda: drilling.sight.guidance.progress.done == 1, timeout=15_000)
    comes_back(qtbot, drilling)
    assert drilling.job.open_journal().board(drilling.job.board).done == 1


def test_a_journal_that_cannot_be_opened_is_tried_again(qtbot, ready, monkeypatch):
    opened = Journal.open

    def locked(path=None, **more):
        raise StorageError("The journal is in use by another program: close it.")

    ready.job.board = None
    monkeypatch.setattr("ui.stages.guided.RETRY_MS", 100)
    stage = ready.stages["drilling"]
    stage._retry.setInterval(100)
    monkeypatch.setattr(Journal, "open", locked)
    ready.go("drilling")
    says(qtbot, stage, "in use by another")
    monkeypatch.setattr(Journal, "open", opened)
    qtbot.waitUntil(stage.card.isVisible, timeout=20_000)


def test_leaving_while_the_camera_opens_leaves_nothing_running(qtbot, ready):
    ready.go("drilling")
    ready.go("finding")
    ready.go("design")
    assert ready.stages["drilling"].thread is None
    qtbot.waitUntil(lambda: not ready.stages["finding"].opening.busy, timeout=20_000)
    assert ready.stages["finding"].thread is None


def test_what_a_killed_window_had_done_is_gone_on_with(qtbot, ready, board_files, tmp_path):
    said = 0
    with program("window_until_killed.py", str(tmp_path / "data"), *board_files) as child:
        for line in child.stdout:
            if line.startswith("done "):
                said = int(line.split()[1])
            if said >= 3:  # of two holes between two looks only the second is told
                break
        child.kill()  # SIGKILL: no goodbye
    assert said >= 3, "it was killed for taking too long"
    ready.go("drilling")
    stage = ready.stages["drilling"]
    assert stage.unfinished.isVisible()
    done = ready.job.unfinished().done
    assert done >= said
    assert f"{done} of 20 holes done" in stage.unfinished.title.text()
    qtbot.keyClick(stage, Qt.Key.Key_Space)
    qtbot.waitUntil(stage.card.isVisible, timeout=20_000)  # which bit is in is asked again
    assert stage.sight.guidance.progress.done == done
    assert stage.sight.guidance.state == g.CHANGE_BIT
    assert len(ready.job.practice.board.drilled) == done
