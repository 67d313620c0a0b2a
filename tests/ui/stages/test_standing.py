from __future__ import annotations

import pytest

from ui.job import PRACTICE, Bench, JobState
from ui.settings import Settings
from ui.stages.after import AfterStage
from ui.stages.bench import BenchStage
from ui.stages.design import DesignStage
from ui.stages.drilling import DrillingStage
from ui.stages.finding import FindingStage
from ui.stages.table import TableStage

STAGES = (DesignStage, BenchStage, FindingStage, DrillingStage, AfterStage)


@pytest.fixture
def job(qapp, tmp_path):
    return JobState(Settings(), tmp_path)


def open_stages(job) -> list[str]:
    return [stage.name for stage in STAGES if not stage.standing(job).why]


def test_each_step_opens_with_what_it_needs(job, small_job):
    assert open_stages(job) == ["design", "bench"]
    job.set_job(small_job)
    assert "finding" not in open_stages(job)
    job.set_bench(Bench(PRACTICE))
    assert open_stages(job) == ["design", "bench", "finding"]
    job.set(found=True)
    assert open_stages(job) == ["design", "bench", "finding", "drilling"]
    job.set(board=1)
    assert open_stages(job)[-1] == "after"


def test_another_design_shuts_what_came_after(job, small_job):
    job.set_job(small_job)
    job.set_bench(Bench(PRACTICE))
    job.set(found=True, board=1)
    job.set_job(small_job)
    assert open_stages(job) == ["design", "bench", "finding"]


def test_what_is_shut_says_what_is_missing(job):
    assert FindingStage.standing(job).why == "The board's files come first"


def test_the_table_is_the_same_step_as_drilling_by_hand(job, small_job):
    for found in (False, True):
        assert TableStage.standing(job) == DrillingStage.standing(job)
        job.set_job(small_job)
        job.set_bench(Bench(PRACTICE))
        job.set(found=found)
    assert not TableStage.standing(job).why
