"""What `table drill` puts together: the job, who confirms, and what is told and written."""

from __future__ import annotations

import argparse
import contextlib
import time
from collections.abc import Callable
from dataclasses import dataclass, replace

from drillaid.commands import say
from drillaid.commands.guiding.keys import Console as Keys
from drillaid.errors import StorageError, UsageError
from drillaid.guidance import events as ev
from drillaid.table import job as j

NEIGHBOURS = 6
HELP = "Enter: confirm what is asked. s Enter: skip, p: pause or go on, q: stop at once."


@dataclass
class Made:
    """board: its number in the journal, None before it is begun; person: confirms, in the
    simulation."""

    job: object
    simulated: bool
    person: Callable | None = None
    board: int | None = None


def make_job(args: argparse.Namespace, ready, settings, journal, teller, held) -> Made:
    """A `DrillJob` with camera, port and record as the command line names them."""
    from drillaid.journal.resume import start
    from drillaid.table.assembling import Board, assemble
    from drillaid.table.link import Link
    from drillaid.table.setup import TableSetup

    sim = simulated_table(args, ready.design, None if args.rig is None else _rig(args)) if args.port == "sim" else None
    rig = sim.rig if sim is not None else _rig(args)
    setup = _setup(args, TableSetup.of(rig, args.rig))
    camera, clock = open_eye(args, rig, sim, held)
    link = held.enter_context(Link.open(args.port, baud=args.baud))
    made = Made(None, sim is not None)
    name = ready.design.name + (" (simulated bench)" if sim is not None else "")
    bits = [choice.bit_mm for choice in ready.choices]
    spindle = rig.spindle_mm(args.thickness)

    def begin(work, order) -> None:
        if not settings.dry_run:
            made.board = start(
                journal, replace(ready.design, name=name), work, face=args.face,
                thickness_mm=args.thickness, by="table",
                spindle_mm=[float(value) for value in spindle],
            )  # fmt: skip
        say(f"{len(bits)} holes, {order.travel_mm:.0f} mm of travel, planned in "
            f"{order.seconds:.1f} s.")  # fmt: skip

    made.job = assemble(
        Board(ready.design, bits, args.face, args.thickness), rig, setup, link, camera, clock,
        settings, rig_file=args.rig, begin=begin,
        record=lambda event: journal.record(made.board, event),
        measure=_measuring(args, ready, rig, bits),
        listen=teller,
        ledger=_done_before(args, ready, spindle, name, journal, made, sim),
    )  # fmt: skip
    if sim is not None:
        made.person = _person(sim, made)
    return made


def _done_before(args, ready, spindle, name: str, journal, made: Made, sim):
    """With --resume: what is done of the newest unfinished board of this design, or None."""
    from drillaid.journal.journal import design_hash
    from drillaid.journal.resume import resume

    if not args.resume:
        return None
    mine = [
        board
        for board in journal.unfinished()
        if board.design_hash == design_hash(ready.design) and board.design_name == name
    ]
    if not mine:
        raise UsageError(
            f"no unfinished board of {ready.design.name} is recorded in {journal.path}",
            remedy="leave out --resume to begin one",
        )
    ledger = resume(journal, mine[0].id, spindle, design=ready.design).ledger
    made.board = mine[0].id
    say(f"Going on with board {made.board}: {mine[0].done} of {mine[0].holes} holes are done.")
    if sim is not None:
        for row in sorted(ledger.progress.done):
            stop = ledger.progress.work.stops[row]
            sim.bench.board.drill(stop.xy_mm, stop.bit_mm)
    return ledger


def _rig(args: argparse.Namespace):
    from drillaid.rig.file import load_rig

    return load_rig(args.rig)


def _setup(args: argparse.Namespace, setup):
    if args.dialect is not None:
        setup = replace(setup, dialect=args.dialect)
    return replace(setup, lever=True) if args.lever else setup


def both_or_none_simulated(args: argparse.Namespace) -> None:
    """UsageError where --camera and --port are of two worlds."""
    if (args.camera == "sim") != (args.port == "sim"):
        raise UsageError(
            "a simulated board and a real table do not go together",
            remedy="give sim for both --camera and --port, or for none",
        )


def simulated_table(args: argparse.Namespace, design, rig):
    """A table in software under the simulated bench, behind `--port sim`."""
    from drillaid.simulation.table_bench import TableOnBench
    from drillaid.simulation.table_words import TONGUES
    from drillaid.table.wire import register_port

    sim = TableOnBench(
        design, args.seed, rig=rig, face=args.face, thickness_mm=args.thickness,
        dialect=args.dialect if args.dialect in TONGUES else "line-ack",
    )  # fmt: skip
    register_port("sim", sim.wire)
    say("The table, the board and the person are simulated.")
    return sim


def open_eye(args: argparse.Namespace, rig, sim, held: contextlib.ExitStack):
    """(camera, clock of its frames)."""
    from drillaid.rig.reader import NewestFrame
    from drillaid.rig.sources import open_camera

    if sim is not None:
        return held.enter_context(sim.camera), sim.clock.now
    camera = held.enter_context(open_camera(args.camera, size=(rig.width, rig.height)))
    return held.enter_context(NewestFrame(camera)), time.monotonic


def _measuring(args: argparse.Namespace, ready, rig, bits):
    def measure(look, hole: int, bit_mm: float) -> dict:
        """What is seen of the hole just drilled, design axes."""
        import numpy as np

        from drillaid.inspection.measure import measure_holes

        # a few neighbours go along: they show what an untouched pad looks like
        xy = ready.design.xy_mm
        rows = np.argsort(np.hypot(*(xy - xy[hole - 1]).T))[:NEIGHBOURS]
        few, placement = _only(ready.design, look.registration.placement, rows)
        findings = measure_holes(
            look.frame.image, few, placement, rig, face=args.face,
            thickness_mm=args.thickness, bits_mm=[bits[row] for row in rows],
        )  # fmt: skip
        found = findings[0]
        off = None if found.off_mm is None else [float(v) for v in found.off_mm]
        return {"hole_state": found.state, "drilled_off_mm": off}

    return measure


def _only(design, placement, rows):
    """Design and placement of these holes alone, in this order."""
    few = replace(
        design,
        holes=tuple(design.holes[row] for row in rows),
        lands=tuple(design.lands[row] for row in rows),
    )
    own = {name: getattr(placement, name)[rows] for name in ("pixels", "expected_error_mm",
                                                             "pad_seen", "bench_mm")}  # fmt: skip
    return few, replace(placement, **own)


def _person(sim, made: Made) -> Callable:
    def person(view) -> None:
        """Does what is asked: fits the bit, pulls the lever, confirms."""
        if view.state == j.CHANGE_BIT:
            sim.bit_mm = view.bit_mm
        if view.state == j.LEVER:
            sim.pull_lever()
        if view.state in j.ASKS:
            made.job.act(ev.Confirm())

    return person


class Teller:
    """Called with each `JobView`: says what changed, writes the events' file.

    looks: made so far; worst_mm: seen distance of the worst hole drilled
    """

    def __init__(self, events: str | None, held: contextlib.ExitStack) -> None:
        from drillaid.guidance.event_lines import EventLines

        self._lines = None if events is None else held.enter_context(EventLines(events))
        self._last: tuple | None = None
        self.looks = 0
        self.worst_mm: float | None = None

    def __call__(self, view: j.JobView) -> None:
        for event in view.events:
            self._take(event, view)
        what = (view.state, view.message if view.state in j.ASKS else view.hole)
        if what != self._last and view.state not in (j.MOVING, j.LOOKING, j.DRILLING):
            for caution in view.cautions:
                say(str(caution))
            if view.state not in (j.FINISHED, j.STOPPED):  # the answer says these
                say(view.message)
        self._last = what

    def _take(self, event: ev.Event, view: j.JobView) -> None:
        if self._lines is not None:
            try:
                self._lines.write(event)
            except StorageError as error:
                self._lines = None
                say(str(error))
        if event.event == "look":
            self.looks += 1
        if event.event == "hole_done":
            self.worst_mm = max(self.worst_mm or 0.0, event.distance_mm)
            tally = view.progress
            how = "checked" if event.detail.get("dry_run") else "drilled"
            say(f"Hole {event.hole} {how}, {event.distance_mm:.3f} mm off as seen "
                f"({tally.done} of {tally.holes}).")  # fmt: skip
        elif event.event == "skipped":
            say(f"Hole {event.hole} skipped.")


class Console:
    """A person at a terminal; `actions` never waits."""

    def __init__(self) -> None:
        self._keys = Keys()
        if self._keys.open:
            say(HELP)

    @property
    def open(self) -> bool:
        return self._keys.open

    def actions(self, view: j.JobView) -> list:
        """What was asked for since the last call."""
        return [action for line in self._keys.lines() if (action := meaning(line, view))]

    def __enter__(self) -> Console:
        self._keys.__enter__()
        return self

    def __exit__(self, *exc_info) -> None:
        self._keys.__exit__(*exc_info)


def meaning(line: str, view: j.JobView):
    """The action of one line, or None, after saying so, for what is not understood."""
    word = line.strip().lower()
    actions = {
        "": ev.Confirm(),
        "s": ev.Skip(),
        "q": j.Stop(),
        "p": ev.Resume() if view.state == j.PAUSED else ev.Pause(),
    }
    if word not in actions:
        say(f"'{word[:20]}' is no key here. {HELP}")
    return actions.get(word)
