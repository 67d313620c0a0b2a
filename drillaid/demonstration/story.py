"""The demo from the first caution to the report, each step with its sentence.

Everything that decides is the program's own, used as the commands use it; the
bench, the camera and the hand behind it are simulated.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from drillaid.demonstration import scenario as invented
from drillaid.demonstration.closing import Comparison, compare
from drillaid.demonstration.drilling import Drilled, drill_by_guidance
from drillaid.demonstration.folder import DemoFolder
from drillaid.demonstration.pictures import found_in, save_picture
from drillaid.design.bits import DEFAULT_BITS_MM, assign_bits, bit_warnings
from drillaid.design.model import Design
from drillaid.design.parts import find_parts
from drillaid.design.read import read_design
from drillaid.errors import CannotGoOn
from drillaid.guidance.cautions import before_work
from drillaid.guidance.event_lines import EventLines
from drillaid.guidance.order import plan_order, written_travel_mm
from drillaid.guidance.work import Work
from drillaid.inspection.measure import measure_holes
from drillaid.inspection.report import BitUse, JobNotes, write_report
from drillaid.inspection.result import Inspection
from drillaid.inspection.summary import conclude
from drillaid.journal.journal import Journal
from drillaid.journal.resume import start
from drillaid.registration.register import register_picture
from drillaid.registration.result import Registration
from drillaid.rig.file import save_rig
from drillaid.simulation.designs import InventedDesign
from drillaid.simulation.export import write_fabrication_files

STEM = "stair_light_timer"


@dataclass(frozen=True, eq=False)
class Told:
    """All that the demo found."""

    folder: Path
    report: Path
    design: Design
    refusals: tuple[Registration, ...]
    registration: Registration
    drilled: Drilled
    inspection: Inspection
    comparison: Comparison
    seconds: dict[str, float]


class Story:
    """tell: takes one line of progress; size: (width, height) px of the simulated camera."""

    def __init__(
        self,
        folder: DemoFolder,
        seed: int,
        tell: Callable[[str], None],
        *,
        size: tuple[int, int] = invented.SIZE_PX,
    ) -> None:
        self._folder, self._seed, self._tell = folder, seed, tell
        self._size = size
        self._seconds: dict[str, float] = {}
        self._steps = 0

    def run(self) -> Told:
        """Raises StorageError, or CannotGoOn should the board not be found."""
        begun = datetime.now().astimezone()
        self._tell(invented.TELLING)
        for caution in before_work():
            self._tell(str(caution))
        design, bits, parts = self._design()
        work = self._order(design, bits)
        scene, photo, refusals, registration = self._registration(design)
        drilled = self._drill(scene, design, work, registration, photo)
        last, final, inspection = self._inspect(scene, design, bits, parts)
        report = self._report(
            begun, design, bits, photo, registration, drilled, last, final, inspection, scene
        )
        comparison = compare(scene, registration, drilled, inspection)
        return Told(
            self._folder.path, report, design, refusals, registration, drilled, inspection,
            comparison, self._seconds,
        )  # fmt: skip

    # The design

    def _design(self):
        self._step("The design")
        bench_design = invented.demo_design()
        names = [path.name for path in write_design(self._folder, bench_design)]
        files = [self._folder.path / name for name in names]
        design = replace(read_design(files, face=invented.FACE), name=bench_design.name)
        width, height = design.outline.size_mm
        self._say(
            f"Wrote {len(files)} fabrication files and read them back: {len(design.holes)} holes, "
            f"board {width:.0f} x {height:.0f} mm, {design.units}."
        )
        choices = assign_bits(design, DEFAULT_BITS_MM)
        rings = [c.ring_mm for c in choices if c.ring_mm is not None and c.ring_mm > 0]
        used = sorted({choice.bit_mm for choice in choices})
        self._say(
            f"Bits: {', '.join(f'{bit:g}' for bit in used)} mm; the narrowest ring of copper "
            f"will be {min(rings):.2f} mm."
        )
        parts = find_parts(design)
        self._say(f"{len(parts)} groups of holes must fit one stiff part each.")
        for warning in (*design.warnings, *bit_warnings(design, choices)):
            self._say(f"! {warning}")
        return design, [choice.bit_mm for choice in choices], parts

    def _order(self, design: Design, bits: list[float]) -> Work:
        self._step("The order")
        order = plan_order(design, bits)
        runs = ", ".join(f"{len(run.holes)} with {run.bit_mm:g} mm" for run in order.runs)
        self._say(
            f"{runs}: the hand goes {order.travel_mm:.0f} mm instead of "
            f"{written_travel_mm(design, bits):.0f} mm in the order of the file."
        )
        return Work.of(design, order)

    # The board found

    def _registration(self, design: Design):
        self._step("Finding the board")
        scene = invented.scenario(self._seed, size=self._size)
        save_rig(scene.rig, self._folder.file("rig.toml"))
        photo = scene.bench.render()
        self._picture("1-before.jpg", photo)
        wrong = self._register(photo, design, scene, face="top")
        self._say(f"Asked for the wrong face on purpose: {wrong.status}. {wrong.message}")
        found = self._register(photo, design, scene, face=invented.FACE)
        self._say(f"With the right face: {found.message}")
        if not found.ok:
            raise CannotGoOn(f"The demo's board was not found: {found.message}")
        for remark in _pads_missing(design, found):
            self._say(remark)
        self._picture("2-found.jpg", found_in(photo, design, found))
        return scene, photo, (wrong,), found

    def _register(self, photo, design, scene, *, face: str) -> Registration:
        begun = time.perf_counter()
        registration = register_picture(
            photo, design, rig=scene.rig, face=face, thickness_mm=invented.THICKNESS_MM
        )
        self._count("registration", begun)
        return registration

    # Drilled

    def _drill(self, scene, design: Design, work: Work, registration, photo) -> Drilled:
        self._step("Drilling by guidance")
        begun = time.perf_counter()
        place = self._folder.file("journal.sqlite3")
        for end in ("-wal", "-shm"):
            self._folder.file(place.name + end)
        lines = EventLines(self._folder.file("events.jsonl"))
        named = replace(design, name=f"{design.name}, simulated bench")
        with lines, Journal.open(place) as journal:
            board = start(journal, named, work, face=invented.FACE, demo=True)
            drilled = drill_by_guidance(
                scene, design, work, (registration, photo), seed=self._seed, journal=journal,
                board=board, events=lines, tell=self._say,
            )  # fmt: skip
            record = journal.board(board)
        if drilled.watching is not None:
            self._picture("3-drilling.jpg", drilled.watching)
        self._count("drilling", begun)
        self._say(
            f"{record.done} holes in the journal after {drilled.seconds / 60:.1f} minutes of the "
            f"simulated bench's time and {drilled.frames} pictures"
            + (f", {record.skipped} skipped." if record.skipped else ".")
        )
        return drilled

    # Measured

    def _inspect(self, scene, design: Design, bits: list[float], parts):
        self._step("Measuring what was drilled")
        invented.for_the_photograph(scene.bench)
        photo = scene.bench.render()
        self._picture("4-drilled.jpg", photo)
        registration = self._register(photo, design, scene, face=invented.FACE)
        self._say(registration.message)
        if not registration.ok:
            raise CannotGoOn(f"The drilled board was not found: {registration.message}")
        begun = time.perf_counter()
        findings = measure_holes(
            photo, design, registration.placement, scene.rig,
            face=invented.FACE, thickness_mm=invented.THICKNESS_MM, bits_mm=bits,
        )  # fmt: skip
        inspection = conclude(findings, parts, design, true_scale=True)
        self._count("inspection", begun)
        self._say(inspection.message)
        for part in inspection.parts:
            if part.fits is not True or part.close:
                self._say(f"  {part.part}, holes {part.holes[0]} … {part.holes[-1]}: "
                          f"{part.sentence}.")  # fmt: skip
        return photo, registration, inspection

    def _report(
        self, begun, design, bits, photo, registration, drilled, last, final, inspection, scene
    ) -> Path:
        self._step("The report")
        started = time.perf_counter()
        clock = "%Y-%m-%d %H:%M"
        notes = JobNotes(
            started=begun.strftime(clock),
            finished=datetime.now().astimezone().strftime(clock),
            bits=tuple(BitUse(bit, n, seconds) for bit, (n, seconds) in drilled.by_bit.items()),
            remarks=self._remarks(registration, inspection, drilled, design),
            pictures=self._pictures_for(design, photo, registration, drilled),
        )
        path = write_report(
            self._folder.file("report.html"), design=design, registration=final,
            inspection=inspection, picture=last, rig=scene.rig, face=invented.FACE,
            thickness_mm=invented.THICKNESS_MM, simulated=True, job=notes, bits_mm=bits,
        )  # fmt: skip
        self._count("report", started)
        return path

    def _remarks(self, registration, inspection, drilled, design) -> tuple[str, ...]:
        """As the operator would have noted them: what was seen, felt and measured."""
        remarks = list(_pads_missing(design, registration))
        for hole in inspection.holes:
            if hole.hole in drilled.felt:
                words = f"The board was pulled aside as the bit went into hole {hole.hole}"
                if hole.distance_mm is not None:
                    words += f": it lies {hole.distance_mm:.2f} mm off"
                remarks.append(words + ".")
        return tuple(remarks)

    def _pictures_for(self, design, photo, registration, drilled):
        shown = [("Found before drilling: a ring where each hole belongs.",
                  found_in(photo, design, registration))]  # fmt: skip
        if drilled.watching is not None:
            caption = "As the camera saw it half-way through, with the bit over its hole."
            shown.append((caption, drilled.watching))
        return tuple(shown)

    # Telling

    def _step(self, title: str) -> None:
        self._steps += 1
        self._tell(f"\n{self._steps}. {title}")

    def _say(self, text: str) -> None:
        self._tell(f"   {text}")

    def _count(self, name: str, begun: float) -> None:
        self._seconds[name] = self._seconds.get(name, 0.0) + time.perf_counter() - begun

    def _picture(self, name: str, image: np.ndarray) -> None:
        save_picture(self._folder.file(name), image)


def write_design(folder: DemoFolder, design: InventedDesign) -> list[Path]:
    """The invented board's fabrication files, noted as the demo's own."""
    for end in ("copper_bottom.gbr", "outline.gbr", "plated.drl", "nonplated.drl"):
        folder.file(f"{STEM}-{end}")
    return write_fabrication_files(design, folder.path, STEM)


def _pads_missing(design: Design, registration: Registration) -> tuple[str, ...]:
    """A sentence for holes that should have a pad and show none, or nothing."""
    seen = registration.placement.pad_seen
    unseen = [
        str(hole.number)
        for hole, land, there in zip(design.holes, design.lands, seen, strict=True)
        if land is not None and not there
    ]
    if not unseen:
        return ()
    where = f"hole{'s' * (len(unseen) > 1)} {', '.join(unseen)}"
    return (f"No pad to be seen at {where} before drilling: placed by the rest of the pattern.",)
