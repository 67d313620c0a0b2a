from __future__ import annotations

import pytest
from support.bench_job import Job, work_of

from drillaid.guidance.events import Seen, Undo


@pytest.fixture
def job():
    made = Job(work_of((0.8, 3)))
    made.fit(0.8)
    return made


def test_a_hole_that_is_seen_counts_and_says_by_what(job):
    job.hold()
    job.see(off=(4.0, 0.0), frames=200)  # long after the pedal's grace
    guidance = job.act(Seen())
    assert guidance.refusal is None and guidance.progress.done == 1
    event = next(e for e in guidance.events if e.event == "hole_done")
    assert event.detail["by"] == "seen" and event.detail["forced"] is False
    assert event.distance_mm == pytest.approx(0.0, abs=1e-9)  # where it was drilled
    assert job.act(Undo()).progress.done == 0


def test_one_that_was_never_on_target_does_not(job):
    job.see(off=(4.0, 0.0))
    assert job.act(Seen()).refusal is not None
