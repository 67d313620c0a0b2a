"""The demo of drilling by table, from the cautions to the report, each step with its sentence.

Everything that decides is the program's own, used as `table drill` uses it; table,
camera, board and the person who confirms are simulated.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from drillaid.demonstration import table_scene as invented
from drillaid.demonstration.folder import DemoFolder
from drillaid.demonstration.pictures import found_in, save_picture
from drillaid.demonstration.scenario import for_the_photograph
from drillaid.demonstration.table_closing import TableComparison, compare
from drillaid.demonstration.table_run import Run, drill_by_table
from drillaid.design.bits import DEFAULT_BITS_MM, assign_bits, bit_warnings
from drillaid.design.model import Design
from drillaid.design.parts import find_parts
from drillaid.design.read import read_design
from drillaid.errors import CannotGoOn
from drillaid.guidance.event_lines import EventLines
from drillaid.inspection.measure import measure_holes
from drillaid.inspection.report import JobNotes, write_report
from drillaid.inspection.result import Inspection
from drillaid.inspection.summary import conclude
from drillaid.journal.journal import Journal
from drillaid.registration.register import register_picture
from drillaid.rig.file import save_rig
from drillaid.simulation.export import write_fabrication_files
from drillaid.table.assembling import Board


@dataclass(frozen=True, eq=False)
class TableTold:
    """All that the demo found. minutes: of the simulated clock, for the drilling."""

    folder: Path
    report: Path
    design: Design
    run: Run
    inspection: Inspection
    comparison: TableComparison
    minutes: float


class TableStory:
    """tell: takes one line of progress"""

    def __init__(self, folder: DemoFolder, seed: int, tell: Callable[[str], None]) -> None:
        self._folder, self._seed, self._tell = folder, seed, tell
        self._steps = 0

    def run(self) -> TableTold:
        """Raises StorageError, or CannotGoOn should the job end before its last hole."""
        begun = datetime.now().astimezone()
        self._tell(invented.TELLING)
        board, parts = self._design()
        sim = invented.table_scene(invented.table_design(), self._seed)
        save_rig(sim.rig, self._folder.file("rig.toml"))
        run = self._drill(sim, board)
        photo, registration, inspection = self._inspect(sim, board, parts)
        self._step("The report")
        report = self._report(begun, board, run, photo, registration, inspection, sim)
        self._say(f"Written: {report.name}.")
        return TableTold(
            self._folder.path, report, board.design, run, inspection, compare(sim, run),
            sim.clock.now() / 60,
        )  # fmt: skip

    def _design(self) -> tuple[Board, tuple]:
        self._step("The design")
        drawn = invented.table_design()
        for end in ("copper_bottom.gbr", "outline.gbr", "plated.drl", "nonplated.drl"):
            self._folder.file(f"{invented.STEM}-{end}")
        files = write_fabrication_files(drawn, self._folder.path, invented.STEM)
        design = replace(read_design(files, face=invented.FACE), name=drawn.name)
        width, height = design.outline.size_mm
        choices = assign_bits(design, DEFAULT_BITS_MM)
        used = ", ".join(f"{bit:g}" for bit in sorted({choice.bit_mm for choice in choices}))
        self._say(
            f"Wrote {len(files)} fabrication files and read them back: {len(design.holes)} holes, "
            f"board {width:.0f} x {height:.0f} mm; bits {used} mm."
        )
        for warning in (*design.warnings, *bit_warnings(design, choices)):
            self._say(f"! {warning}")
        bits = [choice.bit_mm for choice in choices]
        return Board(design, bits, invented.FACE, invented.THICKNESS_MM), find_parts(design)

    def _drill(self, sim, board: Board) -> Run:
        self._step("The table drills")
        mechanics = sim.mechanics
        self._say(
            f"A home-made table: {mechanics.backlash_mm[0]:g} mm of backlash, "
            f"{mechanics.skew_deg:g} degrees of skew, "
            f"{100 * abs(mechanics.scale[0] - 1):.0f} % wrong in its steps, and it loses some."
        )
        place = self._folder.file("journal.sqlite3")
        for end in ("-wal", "-shm"):
            self._folder.file(place.name + end)
        with EventLines(self._folder.file("events.jsonl")) as lines, Journal.open(place) as journal:
            run = drill_by_table(sim, board, journal, lines, self._say)
        if run.found is not None:
            picture, registration = run.found
            shown = found_in(picture, board.design, registration)
            save_picture(self._folder.file("1-found.jpg"), shown)
        if run.watching is not None:
            save_picture(self._folder.file("2-drilling.jpg"), run.watching)
        if run.outcome.reason != "finished":
            raise CannotGoOn(f"The demo's table did not end its board: {run.outcome.message}")
        self._say(run.outcome.message)
        return run

    def _inspect(self, sim, board: Board, parts):
        self._step("Measuring what was drilled")
        for_the_photograph(sim.bench)
        photo = sim.bench.render()
        save_picture(self._folder.file("3-drilled.jpg"), photo)
        how = {"face": board.face, "thickness_mm": board.thickness_mm}
        registration = register_picture(photo, board.design, rig=sim.rig, **how)
        if not registration.ok:
            raise CannotGoOn(f"The drilled board was not found: {registration.message}")
        findings = measure_holes(
            photo, board.design, registration.placement, sim.rig, bits_mm=board.bits_mm, **how
        )
        inspection = conclude(findings, parts, board.design, true_scale=True)
        self._say(inspection.message)
        return photo, registration, inspection

    def _report(self, begun, board, run: Run, photo, registration, inspection, sim) -> Path:
        clock = "%Y-%m-%d %H:%M"
        pictures = []
        if run.found is not None:
            picture, found = run.found
            pictures.append(("Found before drilling: a ring where each hole belongs.",
                             found_in(picture, board.design, found)))  # fmt: skip
        if run.watching is not None:
            pictures.append(("As the camera saw it half-way through.", run.watching))
        worst = float(np.max([hole.distance_mm for hole in run.holes]))
        notes = JobNotes(
            started=begun.strftime(clock),
            finished=datetime.now().astimezone().strftime(clock),
            bits=run.bits(),
            remarks=(f"Drilled by the table; no hole was more than {worst:.3f} mm off as seen "
                     "before the bit went down.",),
            pictures=tuple(pictures),
        )  # fmt: skip
        return write_report(
            self._folder.file("report.html"), design=board.design, registration=registration,
            inspection=inspection, picture=photo, rig=sim.rig, face=board.face,
            thickness_mm=board.thickness_mm, simulated=True, job=notes, bits_mm=board.bits_mm,
        )  # fmt: skip

    def _step(self, title: str) -> None:
        self._steps += 1
        self._tell(f"\n{self._steps}. {title}")

    def _say(self, text: str) -> None:
        self._tell(f"   {text}")
