from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drillaid.rig.still_true import RigWatch
from drillaid.simulation.rigs import nominal_rig
from ui.job import PRACTICE, Bench, JobState
from ui.settings import Settings

SPINDLE = {"sigma_mm": 0.03, "covariance": [[0.0004, 0.0], [0.0, 0.0]]}
CORNERS = [[0.0, 0.0], [8.0, 0.0], [8.0, 8.0], [0.0, 8.0]]
MARKS = {"height_mm": 0.1, "seen": [{"number": 1, "corners_mm": CORNERS}]}


@pytest.fixture
def job(qapp, tmp_path, small_job):
    made = JobState(Settings(), tmp_path)
    made.set_job(small_job)
    yield made
    made.close()


def on_rig(job, source="0", **extra):
    rig = replace(nominal_rig(), extra=extra)
    job.set_bench(Bench(source, rig, "bench.toml"))


def test_what_the_rig_file_says_of_the_axis_counts_into_the_session(job):
    on_rig(job)
    assert job.spindle_error_mm() == 0
    on_rig(job, spindle=SPINDLE)
    # One sigma of a distance by two equal coordinates: sqrt(2 * 0.0004), and the thickness.
    assert np.sqrt(2 * 0.0004) < job.spindle_error_mm() < 0.04
    assert job.make_session()._spindle_error == job.spindle_error_mm()


def test_the_marks_are_watched_where_there_are_any(job):
    on_rig(job)
    assert job._watch() is None
    on_rig(job, marks=MARKS)
    assert isinstance(job._watch(), RigWatch)
    on_rig(job, PRACTICE, marks=MARKS)  # nobody stuck marks onto the practice bench
    assert job._watch() is None
