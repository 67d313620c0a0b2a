"""The table measured on drawn pictures, held against drawn truth."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest
from support.small_board import tiny_design

from calibration.pattern import Pattern
from calibration.practice import sheet_of
from calibration.rig_draft import RigDraft
from calibration.table_job import measure, stored
from calibration.table_sheet import SheetFinder, middle_of
from calibration.table_tour import Plan, Tour
from drillaid.errors import BoardLost
from drillaid.guidance.finder import BoardFinder
from drillaid.rig.frame import Frame
from drillaid.rig.table_limits import check_table
from drillaid.simulation.rigs import nominal_rig
from drillaid.simulation.sheet import SheetCamera
from drillaid.simulation.table import SimulatedTable
from drillaid.simulation.table_bench import HOME_MADE, TableOnBench
from drillaid.simulation.table_motion import Mechanics
from drillaid.simulation.table_port import SimulatedClock, SimulatedWire
from drillaid.table.controller import Controller
from drillaid.table.dialect_file import load_dialect
from drillaid.table.eye import Eye
from drillaid.table.link import Link
from drillaid.table.machine import Machine
from drillaid.table.setup import TableSetup
from drillaid.table.timing import Pace

# The figures of the task: 0.15 mm of backlash, 0.5 degrees of skew, 1 % of scale.
TRUTH = replace(HOME_MADE, lost_chance=0.0)


def held_against(truth: Mechanics, axes, sign: float) -> float:
    """The largest error in units of its stated sigma."""
    off = sign * axes.matrix - truth.matrix
    lost = axes.backlash_mm - truth.backlash_mm
    pulls = [*(off / axes.matrix_sigma).ravel(), *(lost / axes.backlash_sigma_mm)]
    print(
        f"matrix off by {np.abs(off).max():.5f} (stated {axes.matrix_sigma.max():.5f}), backlash "
        f"{np.round(lost, 4)} (stated {np.round(axes.backlash_sigma_mm, 4)}), scatter "
        f"{axes.scatter_mm:.4f} mm, pulls {np.round(pulls, 2)}"
    )
    assert np.abs(off).max() <= 0.001
    assert np.abs(lost).max() <= 0.02
    assert axes.skew_deg == pytest.approx(truth.skew_deg, abs=2.5 * axes.skew_sigma_deg)
    return float(np.abs(pulls).max())


def test_a_board_followed_by_the_registration(tmp_path):
    """In the arrangement where spindle and camera move; the other is that of the test board."""
    design, sign = tiny_design(), -1.0
    sim = TableOnBench(design, 4, mechanics=TRUTH, spindle_moves=True)
    rig = sim.rig
    setup = TableSetup.of(rig, calibrated=False)
    machine = Machine(Controller(Link(sim.wire()), load_dialect("line-ack"), setup), sim.clock.now)
    eye = Eye(sim.camera, BoardFinder.of(design, rig), sim.clock.now)
    tour = Tour(machine, eye, rig, design.xy_mm, Plan(targets=3, runs=2))
    job = measure(machine, tour)
    assert held_against(TRUTH, job.toured.axes, sign) <= 2.5
    assert job.safe.held and job.safe.spindle_off and job.safe.z_up
    kept = stored(RigDraft(tmp_path / "rig.toml", {}), job, rig.extra["table"]).section("table")
    check_table(kept)
    assert np.array(kept["matrix"]) == pytest.approx(TRUTH.matrix, abs=0.001)  # of what moves
    again = TableSetup.of(replace(rig, extra={"table": kept}))
    assert again.matrix == pytest.approx(sign * TRUTH.matrix, abs=0.001)
    assert kept["safe_z_mm"] == -12.0 and 0 < kept["matrix_sigma"] < 0.001
    told = job.text()
    assert "on turning back" in told and "+0.5" in told and "ISO 230-2" in told
    assert job.to_json()["runs_done_again"] == 0


class SheetOnTable:
    """The printed test board on a simulated table, photographed: `rig.frame.Camera`."""

    name, live = "sheet on a table", False

    def __init__(self, seed: int) -> None:
        self.pattern = Pattern(10, 7, 8.0)
        self.rig = nominal_rig(720, 420, 0.18, seed=seed)
        self.clock = SimulatedClock()
        self.table = SimulatedTable(self.clock.now, mechanics=TRUTH, seed=seed)
        self._camera = SheetCamera(self.rig, sheet_of(self.pattern), seed=seed)
        self._number, self.gone = 0, False
        middle = TRUTH.matrix @ np.array(TRUTH.limits_mm)[:2].mean(axis=1)
        self._at = np.array([-40.0, 28.0]) - middle

    def read(self, timeout_s: float = 2.0) -> Frame:
        self.clock.advance(0.6 if self.gone else 1 / 30)
        self._number += 1
        # sheet: y down on its face; bench: y up. A half turn about x makes one the other.
        x, y = self._at + self.table.bench_mm
        rotation = self.rig.rotation @ np.diag([1.0, -1.0, -1.0])
        offset = self.rig.rotation @ [x, y, 0.0] + self.rig.translation_mm
        if self.gone:
            offset = offset + [500.0, 0.0, 0.0]
        image = self._camera.picture(cv2.Rodrigues(rotation)[0].ravel(), offset)
        return Frame(image, self._number, self.clock.now())


def sheet_tour(sim: SheetOnTable, plan: Plan) -> tuple[Machine, Tour]:
    limits = np.array(TRUTH.limits_mm)
    setup = TableSetup(
        "line-ack", np.eye(2), np.zeros(2), limits, limits[:2].mean(axis=1),
        Pace(TRUTH.speed_mm_s, TRUTH.acceleration_mm_s2), safe_z_mm=-12.0, surface_z_mm=-20.0,
    )  # fmt: skip
    link = Link(SimulatedWire(sim.table, sim.clock))
    machine = Machine(Controller(link, load_dialect("line-ack"), setup), sim.clock.now)
    eye = Eye(sim, SheetFinder(sim.rig, sim.pattern, 0.0), sim.clock.now)
    return machine, Tour(machine, eye, sim.rig, middle_of(sim.pattern), plan, height_mm=0.0)


def test_the_printed_test_board():
    sim = SheetOnTable(2)
    machine, tour = sheet_tour(sim, Plan(targets=3, runs=2))
    job = measure(machine, tour)
    assert held_against(TRUTH, job.toured.axes, 1.0) <= 2.5


def test_a_test_board_that_is_taken_away():
    sim = SheetOnTable(3)
    machine, tour = sheet_tour(sim, Plan(targets=3, runs=2))
    tour.tell = lambda text: setattr(sim, "gone", "Moves between" in text)
    with pytest.raises(BoardLost, match="smaller --area"):
        measure(machine, tour)
    assert machine.state.value == "stopped" and sim.table.axes.z >= -12.01
