"""When drilling by table is offered, and what it is refused without."""

from __future__ import annotations

from dataclasses import replace

import pytest

from drillaid.errors import RigError
from drillaid.simulation.rigs import nominal_rig
from ui.job import PRACTICE, Bench, JobState
from ui.running.table_parts import TableParts, may_use_table
from ui.settings import Settings


@pytest.fixture
def job(qapp, tmp_path, small_job):
    made = JobState(Settings(), tmp_path)
    made.set_job(small_job)
    return made


def test_it_is_offered_with_a_table_in_the_rig_file_or_on_the_practice_bench(job):
    assert not may_use_table(job)
    rig = nominal_rig(640, 360, 0.1)
    for bench, may in (
        (Bench(PRACTICE), True),
        (Bench("0", rig, "mine.toml"), False),
        (Bench("0", replace(rig, extra={"table": {}}), "mine.toml"), True),
        (Bench("0"), False),
    ):
        job.set_bench(bench)
        assert may_use_table(job) is may


def test_a_table_that_is_half_described_says_what_is_missing(job):
    class Still:
        live = False

        def close(self):
            pass

    rig = replace(nominal_rig(640, 360, 0.1), extra={"table": {"matrix": [[1, 0], [0, 1]]}})
    job.set_bench(Bench("0", rig, "mine.toml"))
    job.camera = Still()
    with pytest.raises(RigError, match="limits_mm is missing"):
        TableParts(job)
    job.bench = Bench("0", replace(rig, axis_mm=None), "mine.toml")
    with pytest.raises(RigError, match="spindle"):
        TableParts(job)


def test_the_simulation_waits_for_the_real_clock_only_where_it_is_asked_to(job):
    job.set_bench(Bench(PRACTICE))
    parts = TableParts(job)
    parts.sim.clock.advance(60.0)
    assert 0 < parts.ahead_s() <= 0.25
    assert TableParts(job, paced=False).ahead_s() == 0.0
