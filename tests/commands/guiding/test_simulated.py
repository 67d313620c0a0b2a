"""A simulated bench taken up again: what the journal knows as drilled is drilled."""

from __future__ import annotations

from types import SimpleNamespace

from support.bench_job import Job, work_of

from drillaid.commands.guiding.simulated import FPS, simulated_work
from drillaid.guidance.events import Confirm


def test_holes_done_before_are_in_the_board():
    job = Job(work_of((0.8, 3)))
    job.fit(0.8)
    job.hold()
    job.act(Confirm())
    drilled = []
    board = SimpleNamespace(drill=lambda xy, bit: drilled.append((xy, bit)))
    bench = SimpleNamespace(board=board)
    operator, factory = simulated_work(bench, job.session, 1)
    assert drilled == [((0.0, 0.0), 0.8)]
    camera = factory(size=(1920, 1080))
    assert camera.fps == FPS and not camera.live
    assert camera.before_frame == operator.before_frame
