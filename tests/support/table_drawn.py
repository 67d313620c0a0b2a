"""A whole drilling job on drawn pictures: registration and following of the program itself."""

from __future__ import annotations

import time

import numpy as np

from drillaid.design.bits import DEFAULT_BITS_MM, assign_bits, checked_bits
from drillaid.guidance import events as ev
from drillaid.guidance.finder import BoardFinder
from drillaid.guidance.work import Work
from drillaid.simulation.table_bench import TableOnBench
from drillaid.table import job as j
from drillaid.table.controller import Controller
from drillaid.table.dialect_file import load_dialect
from drillaid.table.drilling import DrillJob
from drillaid.table.eye import Eye
from drillaid.table.link import Link
from drillaid.table.machine import Machine
from drillaid.table.setup import TableSetup
from drillaid.table.timing import plan_for_table


class TimedFinder:
    """Adds up what looking costs; the first, thorough search apart."""

    def __init__(self, finder) -> None:
        self.finder, self.seconds = finder, []

    def expect(self, shift_mm):
        self.finder.expect(shift_mm)

    def look(self, image):
        begun = time.process_time()
        found = self.finder.look(image)
        self.seconds.append(time.process_time() - begun)
        return found


class DrawnJob:
    """off_true_mm: of the spindle, as the bit went in, from the hole's true place on the copper;
    off_seen_mm: from where the camera's model called it right, in the last picture before;
    off_again_mm: the same from a picture taken when the bit was out again, which decided
    nothing; stated_mm: its expected error then."""

    def __init__(self, design, seed: int, **kwargs) -> None:
        self.sim = TableOnBench(design, seed, **kwargs)
        rig = self.sim.rig
        setup = TableSetup.of(rig)
        self.machine = Machine(
            Controller(Link(self.sim.wire()), load_dialect(setup.dialect), setup),
            self.sim.clock.now,
        )
        self.finder = TimedFinder(BoardFinder.of(design, rig))
        self.eye = Eye(self.sim.camera, self.finder, self.sim.clock.now)
        bits = [c.bit_mm for c in assign_bits(design, checked_bits(DEFAULT_BITS_MM))]
        self.off_true_mm: list[float] = []
        self.off_seen_mm: list[float] = []
        self.off_again_mm: list[float] = []
        self.stated_mm: list[float] = []

        def plan(to_table, here):
            order = plan_for_table(design, bits, to_table, setup.pace, tuple(here), budget_s=0.2)
            return Work.of(design, order)

        self.job = DrillJob(self.machine, self.eye, plan, rig.spindle_mm(1.6), record=self._record)
        self.design = design

    def _record(self, *events) -> None:
        for event in events:
            if event.event in ("hole_done", "stop_done"):
                ledger = self.job.ledger.progress
                place = np.array(ledger.work.stops[ledger.target].xy_mm)
                bore = self.sim.bores[-1][0]
                self.off_true_mm.append(float(np.hypot(*(bore - place))))
                self.off_seen_mm.append(event.distance_mm)
                self.stated_mm.append(event.expected_error_mm)

    def run(self):
        for _ in range(400_000):
            view = self.job.step()
            for event in view.events:
                if event.event == "stayed":
                    self.off_again_mm.append(float(np.hypot(*event.detail["off_mm"])))
            if self.job.outcome is not None:
                return self.job.outcome
            if view.state == j.CHANGE_BIT:
                self.sim.bit_mm = view.bit_mm
            if view.state in j.ASKS:
                self.job.act(ev.Confirm())
        raise AssertionError("a hang")
