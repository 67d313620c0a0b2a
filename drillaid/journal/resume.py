"""Going on with a board after a break, a crash or a power cut."""

from __future__ import annotations

from drillaid.design.model import Design
from drillaid.errors import StorageError, UsageError
from drillaid.guidance.aim import Settings
from drillaid.guidance.session import Session
from drillaid.guidance.work import Work
from drillaid.journal.journal import Journal, design_hash


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
    The planned order is the recorded one, not a new plan. Raises StorageError
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
        return Session.resume(work, spindle_mm, facts, settings, spindle_error_mm=spindle_error_mm)
    except (KeyError, ValueError, TypeError) as error:
        raise StorageError(
            f"{journal.path}: the record of board {board} contradicts itself ({error}); "
            "begin a new board and check by eye which holes are drilled."
        ) from error
