"""Going on with a board after a break, a crash or a power cut."""

from __future__ import annotations

import math
from collections.abc import Sequence

from drillaid.design.model import Design
from drillaid.errors import StorageError, UsageError
from drillaid.guidance.aim import Settings
from drillaid.guidance.events import Event
from drillaid.guidance.session import Session
from drillaid.guidance.work import Work
from drillaid.journal.journal import BoardRecord, EventRecord, Journal, design_hash

SPINDLE = "spindle"  # an event that tells the spindle's place from there on
SAME_MM = 1e-6


def start(journal: Journal, design: Design, work: Work, **details) -> int:
    """Begins a board in the journal with all that `resume` needs; its number.

    details: anything else worth keeping ("face", "thickness_mm" …), as JSON holds it.
    """
    return journal.start_board(
        design.name,
        design_hash(design),
        holes=len(design.holes),
        details={**details, "stops": work.to_json()},
    )


def resume(
    journal: Journal,
    board: int,
    spindle_mm,
    settings: Settings | None = None,
    *,
    design: Design | None = None,
    spindle_error_mm: float = 0.0,
) -> Session:
    """The session of that board as it stood after its last recorded event.

    design: if given, it must be the one the board was begun with (UsageError).
    The planned order is the recorded one, not a new plan; another place of the spindle
    than before is recorded for what is learnt from the holes. Raises StorageError
    where the record contradicts itself.
    """
    record = journal.board(board)
    if design is not None and design_hash(design) != record.design_hash:
        raise UsageError(
            f"board {board} was begun with other holes than {design.name} has",
            remedy="give the design it was begun with, or begin a new board",
        )
    try:
        work = Work.from_json(record.details["stops"])
        facts = [(e.event, e.hole, e.data) for e in journal.events(board)]
        session = Session.resume(
            work, spindle_mm, facts, settings, spindle_error_mm=spindle_error_mm
        )
    except (KeyError, ValueError, TypeError) as error:
        raise StorageError(
            f"{journal.path}: the record of board {board} contradicts itself ({error}); "
            "begin a new board and check by eye which holes are drilled."
        ) from error
    _keep_spindle(journal, record, spindle_mm)
    return session


def spindle_of(record: BoardRecord, events: Sequence[EventRecord]) -> list[float] | None:
    """Where the axis was said to be at the last of these events, bench mm; None: not recorded."""
    said = [e.data.get("spindle_mm") for e in events if e.event == SPINDLE]
    found = said[-1] if said else record.details.get("spindle_mm")
    return found if isinstance(found, list) and len(found) == 2 else None


def _keep_spindle(journal: Journal, record: BoardRecord, spindle_mm) -> None:
    """The board goes on with another place of the spindle than it was begun with."""
    before = spindle_of(record, journal.events(record.id))
    now = [float(value) for value in spindle_mm]
    if before is not None and math.dist(before, now) > SAME_MM:
        journal.record(record.id, Event(0.0, SPINDLE, detail={"spindle_mm": now}))
