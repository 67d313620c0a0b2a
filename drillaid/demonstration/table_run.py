"""The drilling of `demo --table`: the real job on the simulated table, and who confirms."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from drillaid.guidance import events as ev
from drillaid.guidance.event_lines import EventLines
from drillaid.inspection.report import BitUse
from drillaid.journal.journal import SIMULATED, Journal
from drillaid.journal.resume import start
from drillaid.table import job as j
from drillaid.table.assembling import Board, assemble
from drillaid.table.link import Link
from drillaid.table.setup import TableSetup


@dataclass(frozen=True)
class TableHole:
    """distance_mm: as seen in the picture before the bit went down"""

    hole: int
    bit_mm: float
    distance_mm: float
    expected_error_mm: float
    time_s: float
    corrections: int


@dataclass(eq=False)
class Run:
    """found: (picture, registration) of the first look; watching: a picture from the middle"""

    holes: list[TableHole] = field(default_factory=list)
    looks: int = 0
    found: tuple | None = None
    watching: np.ndarray | None = None
    outcome: j.Outcome | None = None

    def bits(self) -> tuple[BitUse, ...]:
        """Holes and simulated seconds of each bit, in the order they were used."""
        by_bit: dict[float, list[float]] = {}
        for hole in self.holes:
            by_bit.setdefault(hole.bit_mm, []).append(hole.time_s)
        return tuple(BitUse(bit, len(t), t[-1] - t[0]) for bit, t in by_bit.items())


def drill_by_table(
    sim, board: Board, journal: Journal, lines: EventLines, tell: Callable[[str], None]
) -> Run:
    """All holes, from the cautions to the end; sim: a `TableOnBench`."""
    run, begun = Run(), []

    def begin(work, order) -> None:
        name = board.design.name + SIMULATED
        begun.append(start(
            journal, replace(board.design, name=name), work, face=board.face,
            thickness_mm=board.thickness_mm, by="table", demo=True,
        ))  # fmt: skip
        tell(f"Planned: {len(work.stops)} places, {order.travel_mm:.0f} mm of travel.")

    rig = sim.rig
    link = Link(sim.wire())
    job = assemble(
        board, rig, TableSetup.of(rig), link, sim.camera, sim.clock.now,
        j.JobSettings(thickness_mm=board.thickness_mm), begin=begin,
        record=lambda event: journal.record(begun[0], event),
        listen=_Listener(run, lines, tell),
    )  # fmt: skip
    try:
        with job:
            while job.outcome is None:
                _confirm(sim, job, job.step())
                _note_pictures(run, job, len(board.design.holes))
    finally:
        link.close()
    run.outcome = job.outcome
    return run


def _confirm(sim, job, view: j.JobView) -> None:
    """The person: fits the bit that is asked for and confirms."""
    if view.state == j.CHANGE_BIT:
        sim.bit_mm = view.bit_mm
    if view.state in j.ASKS:
        job.act(ev.Confirm())


def _note_pictures(run: Run, job, holes: int) -> None:
    if run.found is None and job.eye.registration is not None and job.eye.registration.ok:
        run.found = job.eye.frame.image.copy(), job.eye.registration
    if run.watching is None and len(run.holes) >= holes // 2:
        run.watching = job.eye.frame.image.copy()


class _Listener:
    """Events to their file; the questions, and every fifth hole, told."""

    def __init__(self, run: Run, lines: EventLines, tell: Callable[[str], None]) -> None:
        self._run, self._lines, self._tell = run, lines, tell
        self._last: tuple = ()
        self._corrections = 0

    def __call__(self, view: j.JobView) -> None:
        self._lines.write(*view.events)
        for event in view.events:
            self._take(event, view)
        what = view.state, view.message
        if what != self._last and view.state not in _OFTEN:
            self._tell(view.message)
            for caution in view.cautions:
                self._tell(f"  {caution}")
        self._last = what

    def _take(self, event: ev.Event, view: j.JobView) -> None:
        if event.event == "look":
            self._run.looks += 1
            self._corrections = event.detail["corrections"]
        if event.event != "hole_done":
            return
        self._run.holes.append(TableHole(
            event.hole, event.detail["bit_mm"], event.distance_mm, event.expected_error_mm,
            event.t, self._corrections,
        ))  # fmt: skip
        done = view.progress.done
        if done % 5 == 0:
            self._tell(
                f"{done} of {view.progress.holes} holes; hole {event.hole} was seen "
                f"{event.distance_mm:.3f} mm off before the bit went down."
            )


_OFTEN = (j.MOVING, j.LOOKING, j.DRILLING, j.FINISHED, j.STOPPED)
