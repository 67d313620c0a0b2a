"""The table's thread without a window: failures are told and leave it safe."""

from __future__ import annotations

import pytest

from drillaid.errors import RigError
from ui.job import PRACTICE, Bench, JobState
from ui.running.table_parts import SIM, TableParts
from ui.running.table_running import APART, STANDING, Home, Jog, TableThread
from ui.running.table_scene import scene_at
from ui.settings import Settings


@pytest.fixture
def job(qapp, tmp_path, small_job):
    made = JobState(Settings(seed=3), tmp_path)
    made.set_job(small_job)
    made.set_bench(Bench(PRACTICE))
    return made


@pytest.fixture
def thread(qtbot, job):
    made = TableThread(lambda: TableParts(job, paced=False), job.job.work, lambda: (320, 240))
    made.start()
    qtbot.waitUntil(lambda: made.sight is not None, timeout=20_000)
    yield made
    made.close()


def test_what_cannot_be_opened_ends_the_thread_with_its_sentence(qtbot, job):
    def make():
        raise RigError("[spindle] is missing", remedy="calibrate")

    made = TableThread(make, job.job.work, lambda: (320, 240))
    with qtbot.waitSignal(made.failed, timeout=5000) as told:
        made.start()
    assert "[spindle] is missing" in told.args[0]
    made.close()


def test_a_port_pulled_while_the_table_moves_is_told_and_can_be_opened_again(qtbot, thread):
    thread.ask(Home(SIM))
    qtbot.waitUntil(lambda: thread.sight.state == STANDING, timeout=20_000)
    table = thread.parts.sim.table
    thread._link._wire.gone = "it was pulled"
    with qtbot.waitSignals([thread.told, thread.told], timeout=10_000) as told:
        thread.ask(Jog(1.0, 0.0))
    said = " ".join(each.args[0] for each in told.all_signals_and_args)
    assert "pulled" in said and "emergency stop" in said
    qtbot.waitUntil(lambda: thread.sight.state == APART, timeout=5000)
    assert not table.spinning
    thread.ask(Home(SIM))
    qtbot.waitUntil(lambda: thread.sight.state == STANDING, timeout=20_000)


def test_jogging_before_homing_moves_nothing(qtbot, thread):
    with qtbot.waitSignal(thread.told, timeout=5000) as told:
        thread.ask(Jog(1.0, 0.0))
    assert "home first" in told.args[0]
    assert not [h for h in thread.parts.sim.table.log if h.what == "motion"]


def test_without_a_registration_only_the_spindle_is_drawn(job):
    parts = TableParts(job, paced=False)
    thread_progress = TableThread(lambda: parts, job.job.work, lambda: (320, 240))._progress
    view, scene = scene_at(parts, (320, 240), parts.camera.read(1.0), None, None, thread_progress)
    assert scene.target is None and len(scene.holes) == 0
    assert scene.spindle == pytest.approx([160, 120], abs=1.0)  # in the middle
