"""When drilling by table is offered, and what it is refused without."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.table_bench import QUICK, TableBench, setup_for

from calibration.table_job import measure
from calibration.table_sheet import SheetFinder
from calibration.table_tour import Plan, Tour
from drillaid.errors import RigError, UsageError
from drillaid.guidance.finder import BoardFinder
from drillaid.rig.file import load_rig, save_rig
from drillaid.simulation.rigs import nominal_rig
from ui.job import PRACTICE, Bench, JobState
from ui.running.table_measuring import Measure
from ui.running.table_parts import TableParts, may_use_table
from ui.settings import Settings


@pytest.fixture
def job(qapp, tmp_path, small_job):
    made = JobState(Settings(), tmp_path)
    made.set_job(small_job)
    return made


class Still:
    live = False

    def close(self):
        pass


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


def measured_table():
    bench = TableBench(setup=setup_for(QUICK, matrix=np.eye(2)))
    tour = Tour(bench.machine, bench.eye, nominal_rig(1280, 720, 0.1), bench.xy, Plan(3, 2))
    return measure(bench.machine, tour)


def test_what_was_measured_is_written_into_the_rig_of_a_real_bench(job, tmp_path):
    """A rig whose [table] says no more than where it may go: not to be drilled by before."""
    path = tmp_path / "mine.toml"
    save_rig(nominal_rig(640, 360, 0.1), path)
    with open(path, "a") as file:
        file.write("[table]\nlimits_mm = [[0.0, 90.0], [0.0, 80.0], [-30.0, 0.0]]\n"
                   "safe_z_mm = -5.0\nsurface_z_mm = -20.0\n# my own note\n")  # fmt: skip
    job.set_bench(Bench("0", load_rig(path), str(path)))
    job.camera = Still()
    parts = TableParts(job)
    assert not parts.calibrated
    with pytest.raises(UsageError, match="measure the table first"):
        parts.drill_job(None, lambda sentence: None, dry_run=True)
    made = measured_table()
    assert str(path) in parts.accept(made)
    assert parts.calibrated
    assert parts.setup.matrix == pytest.approx(made.toured.axes.matrix, abs=1e-6)
    kept = load_rig(path).extra["table"]
    assert kept["safe_z_mm"] == -5.0 and kept["matrix_sigma"] > 0 and "# my own note" in (
        path.read_text()
    )
    assert job.bench.rig.extra["table"]["matrix"] == kept["matrix"]  # for who comes after


def test_the_printed_test_board_as_it_was_measured_when_the_lens_was(job, tmp_path):
    path = tmp_path / "mine.toml"
    save_rig(nominal_rig(640, 360, 0.1), path)
    with open(path, "a") as file:
        file.write("[table]\nlimits_mm = [[0.0, 90.0], [0.0, 80.0], [-30.0, 0.0]]\n"
                   "safe_z_mm = -5.0\nsurface_z_mm = -20.0\n")  # fmt: skip
    job.set_bench(Bench("0", load_rig(path), str(path)))
    job.camera = Still()
    job.remember(squares="10x7", square_mm=8.0)
    parts = TableParts(job)
    tour = parts.tour(None, Measure("p", sheet=True, height_mm=2.0), Plan(), lambda text: None)
    assert isinstance(tour.eye.finder, SheetFinder)
    assert tour.eye.finder._pattern.square_mm == 8.0 and tour.eye.finder._height == 2.0
    board = parts.tour(None, Measure("p"), Plan(), lambda text: None)
    assert isinstance(board.eye.finder, BoardFinder)
