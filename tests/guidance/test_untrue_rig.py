"""A camera knocked during the work: guidance stops, says so, and goes on when it is right again."""

from __future__ import annotations

from dataclasses import replace

import cv2
import pytest
from support.bench_job import SPINDLE, Job, work_of
from support.rig_shop import shop
from support.scripted_camera import WrittenFinder, registered

from calibration.repair import measured_marks
from drillaid.design.model import Design, Hole
from drillaid.guidance import guidance as g
from drillaid.guidance.events import BitFitted, Confirm
from drillaid.guidance.keeping import Keeper
from drillaid.guidance.live import LiveGuidance
from drillaid.guidance.session import Session
from drillaid.journal.journal import Journal
from drillaid.journal.resume import start
from drillaid.rig.mark_finding import find_marks
from drillaid.rig.still_true import RigWatch
from drillaid.simulation.camera import SimulatedCamera
from drillaid.simulation.prints import knocked


@pytest.fixture(scope="module")
def place():
    bench = shop(2, size=(960, 540))
    seen = find_marks(cv2.cvtColor(bench.render(), cv2.COLOR_BGR2GRAY), bench.rig)
    marks = measured_marks(bench.rig, seen, 0.1)
    assert len(marks.marks) == 4
    return bench, bench.rig, replace(bench.rig, extra={"marks": marks.to_data()})


@pytest.fixture
def work(place):
    """(bench, rig, live, events); the hole is always under the spindle."""
    bench, true, rig = place
    session = Session(work_of((0.8, 5)), SPINDLE)
    job, events = Job(work_of((0.8, 5)), session), []
    camera = SimulatedCamera(bench, 5.0)
    live = LiveGuidance(
        camera, WrittenFinder(lambda: registered(job.view())), session,
        clock=lambda: camera.time_s, listen=lambda told: events.extend(told.events),
        watch=RigWatch.of(rig),
    )  # fmt: skip
    live.act(BitFitted(0.8))
    yield bench, true, live, events
    bench.knock(true)


def run(live, steps):
    for _ in range(steps):
        guidance = live.step()
    return guidance


def names(events):
    return [event.event for event in events if event.event.startswith(("rig", "mark"))]


def test_a_knock_withholds_on_target_until_the_arm_is_back(work):
    bench, true, live, events = work
    assert run(live, 6).state == g.ON_TARGET
    assert names(events) == ["rig_true"]
    bench.knock(knocked(true, (0.5, 0.0, 0.0)))
    guidance = run(live, 14)
    assert guidance.state == g.UNTRUE and not guidance.can_confirm
    assert "moved by 0.5" in guidance.message and "calibrate bench" in guidance.message
    refused = live.act(Confirm())
    assert "moved by 0.5" in refused.refusal and refused.progress.done == 0
    assert names(events) == ["rig_true", "rig_moved"]
    detail = next(e for e in events if e.event == "rig_moved").to_json()
    assert detail["moved_mm"] == pytest.approx(0.5, abs=0.05) and len(detail["marks"]) >= 2
    bench.knock(true)
    guidance = run(live, 16)
    assert guidance.state == g.ON_TARGET and guidance.can_confirm
    assert names(events) == ["rig_true", "rig_moved", "rig_true"]


def test_a_mark_unstuck_is_told_and_work_goes_on(work):
    bench, _, live, events = work
    run(live, 4)
    before = bench.prints
    middle = before[2].middle_mm
    bench.lay(*before[:2], replace(before[2], middle_mm=(middle[0] + 0.8, middle[1])), before[3])
    assert run(live, 40).state == g.ON_TARGET
    bench.lay(*before)
    assert "mark_moved" in names(events) and "rig_moved" not in names(events)


def test_the_journal_takes_what_happened(work, tmp_path):
    bench, true, live, events = work
    design = Design("one hole", (Hole(1, 0.0, 0.0, 0.8),))
    with Journal.open(tmp_path) as journal:
        board = start(journal, design, work_of((0.8, 5)))
        live.keep_with(Keeper(journal, board, pytest.fail))
        run(live, 4)
        bench.knock(knocked(true, (0.5, 0.0, 0.0)))
        run(live, 14)
    with Journal.open(tmp_path) as journal:
        kept = [e for e in journal.events(board) if e.event.startswith("rig_")]
    told = [e for e in events if e.event.startswith("rig_")]
    assert [e.event for e in kept] == ["rig_true", "rig_moved"] == [e.event for e in told]
    data = kept[1].data
    assert data["moved_mm"] == pytest.approx(0.5, abs=0.05) and len(data["marks"]) >= 2
    assert data["reason"] == told[1].detail["reason"] and "calibrate bench" in data["reason"]
