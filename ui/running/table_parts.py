"""What drilling by table works with: rig and camera of the bench, a port, the record."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

from calibration.pattern import Pattern, parse_counts
from calibration.rig_draft import RigDraft, read_draft
from calibration.table_job import TableJob, stored
from calibration.table_tour import Plan, Tour
from calibration.table_tour_of import follow_board, follow_sheet, tour_of
from drillaid.errors import DrillaidError, RigError, UsageError
from drillaid.rig.file import load_rig
from drillaid.table import job as j
from drillaid.table.assembling import Board, assemble
from drillaid.table.controller import Controller
from drillaid.table.dialect_file import load_dialect
from drillaid.table.drilling import DrillJob
from drillaid.table.link import Link
from drillaid.table.machine import Machine
from drillaid.table.setup import TableSetup
from ui.job import PRACTICE, JobState
from ui.running.table_measuring import Measure
from ui.words import tr

SIM = "sim"
AHEAD_S = 0.25  # the simulated clock runs at most so far before the real one


def may_use_table(job: JobState) -> bool:
    """A table is set up in the rig file, or everything is simulated."""
    bench = job.bench
    if bench is None:
        return False
    return bench.source == PRACTICE or (bench.rig is not None and "table" in bench.rig.extra)


class TableParts:
    """Made beside the window; raises DrillaidError for what is missing.

    sim: the `TableOnBench` of the practice bench, else None; paced: it goes by the real clock
    """

    def __init__(self, job: JobState, *, paced: bool = True) -> None:
        self._job, ready = job, job.job
        self.sim = None
        if job.bench.source == PRACTICE:
            self.sim = self._simulated(ready)
            job.practice, job.bench = self.sim.bench, replace(job.bench, rig=self.sim.rig)
            self.camera, self.clock = self.sim.camera, self.sim.clock.now
        else:
            self.camera, self.clock = job.open_camera(), time.monotonic
        self.rig = job.bench.rig
        if self.rig is None or self.rig.axis_mm is None:
            raise RigError(tr("drilling by table needs a rig file with the spindle's axis"),
                           remedy=tr("calibrate the rig under Camera and bench"))  # fmt: skip
        self._take_rig(self.rig)
        self.spindle_mm = self.rig.spindle_mm(ready.thickness_mm)
        bits = [choice.bit_mm for choice in ready.choices]
        self.board = Board(ready.design, bits, ready.face, ready.thickness_mm)
        self._paced, self._begun = paced and self.sim is not None, (0.0, 0.0)
        self._begun = time.monotonic(), self.clock()

    def _take_rig(self, rig) -> None:
        self.rig = rig
        self.setup = TableSetup.of(rig, self._job.bench.rig_path or None, calibrated=False)
        self.calibrated = {"matrix", "backlash_mm"} <= set(rig.extra["table"])

    def _simulated(self, ready):
        from drillaid.simulation.table_bench import TableOnBench

        sim = TableOnBench(
            ready.design, self._job.settings.seed + self._job.boards_before, face=ready.face,
            thickness_mm=ready.thickness_mm,
        )  # fmt: skip
        if self._job.practice_table is not None:
            own = sim.bench.rig
            sim.bench.rig = replace(own, extra={**own.extra, "table": self._job.practice_table})
        if self._job.board is not None:
            progress = self._job.make_session().progress
            for row in sorted(progress.done):
                stop = progress.work.stops[row]
                sim.bench.board.drill(stop.xy_mm, stop.bit_mm)
        return sim

    def open_link(self, port: str) -> Link:
        """UsageError or PortLost where that cannot be."""
        if (port == SIM) != (self.sim is not None):
            raise UsageError(
                tr("a simulated board and a real table do not go together"),
                remedy=tr("choose the table's port, and a camera that sees it"),
            )
        return Link(self.sim.wire()) if self.sim is not None else Link.open(port)

    def machine(self, link: Link, *, needs_board: bool = False) -> Machine:
        """For homing and jogging, without a board; for measuring, with what is followed."""
        controller = Controller(link, load_dialect(self.setup.dialect), self.setup)
        return Machine(controller, self.clock, needs_board=needs_board)

    # -- measuring the table -----------------------------------------------------------

    def tour(self, machine: Machine, wish: Measure, plan: Plan, tell) -> Tour:
        """UsageError where the camera cannot follow what was asked for."""
        if wish.sheet and self.sim is not None:
            raise UsageError(
                tr("on the practice bench lies the board, no printed test board"),
                remedy=tr("let the camera follow the board"),
            )
        if wish.sheet:
            followed = follow_sheet(self.rig, self._pattern(), wish.height_mm)
        else:
            b = self.board
            followed = follow_board(b.design, self.rig, face=b.face, thickness_mm=b.thickness_mm,
                                    live=self.camera.live)  # fmt: skip
        return tour_of(machine, self.camera, self.clock, self.rig, followed, plan, tell)

    def _pattern(self) -> Pattern:
        """The test board as it was printed and measured when the lens was calibrated."""
        settings = self._job.settings
        try:
            drawn = Pattern(*parse_counts(settings.squares), settings.square_mm)
        except DrillaidError:
            drawn = Pattern()
        return (drawn.measured(settings.ruler_mm) if settings.ruler_mm else None) or drawn

    def accept(self, measured: TableJob) -> str:
        """Into the rig file; on the practice bench, which has none, for as long as it stands.
        What to tell. RigError or StorageError where it cannot be."""
        job, table = self._job, self.rig.extra["table"]
        if self.sim is not None:
            section = stored(RigDraft(Path(), {}), measured, table).section("table")
            self._take_rig(replace(self.rig, extra={**self.rig.extra, "table": section}))
            job.practice_table = section
            job.bench = replace(job.bench, rig=self.rig)
            return tr("Taken over for the practice bench; no file was written.")
        path = job.bench.rig_path
        stored(read_draft(path), measured, table).save()
        self._take_rig(load_rig(path))
        job.bench = replace(job.bench, rig=self.rig)
        return tr("Written to {file}.", file=path)

    def drill_job(self, link: Link, tell, *, dry_run: bool) -> DrillJob:
        """Goes on with the board at hand, where one was begun."""
        job = self._job
        if not self.calibrated:
            raise UsageError(
                tr("how this table moves has not been measured yet"),
                remedy=tr("measure the table first"),
            )
        ledger = None if job.board is None else job.make_session().ledger

        def begin(work, _order) -> None:
            if not dry_run:
                job.begin_board(tell, work, by="table")

        return assemble(
            self.board, self.rig, self.setup, link, self.camera, self.clock,
            j.JobSettings(dry_run=dry_run, thickness_mm=self.board.thickness_mm),
            rig_file=job.bench.rig_path or None, begin=begin, ledger=ledger,
            record=lambda event: job.open_journal().record(job.board, event),
        )  # fmt: skip

    def confirmed(self, view: j.JobView) -> None:
        """What the person's hands have done on the practice bench."""
        if self.sim is not None and view.state == j.CHANGE_BIT:
            self.sim.bit_mm = view.bit_mm
        if self.sim is not None and view.state == j.LEVER:
            self.sim.pull_lever()

    def ahead_s(self) -> float:
        """How long to wait so that the simulation is no faster than the real thing."""
        if not self._paced:
            return 0.0
        real, simulated = time.monotonic() - self._begun[0], self.clock() - self._begun[1]
        return min(max(0.0, simulated - real), AHEAD_S)
