"""Nothing counts as done before it is on the disk."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Protocol

from drillaid.errors import StorageError
from drillaid.guidance.events import FACTS, Event, Undo
from drillaid.guidance.guidance import Guidance
from drillaid.guidance.session import Session

# Facts that Undo takes back; the others only steer, and are written later if need be.
_UNDOABLE = frozenset({"stop_done", "hole_done", "skipped", "taken_back", "as_seen"})


class Record(Protocol):
    """`drillaid.journal.journal.Journal`, as far as it is needed here."""

    def record(self, board: int, *events: Event) -> None: ...


class Keeper:
    """Writes each step's events before anyone is shown what they say.

    Where that fails, what was just done is taken back, so that screen and
    record agree: the hole has to be confirmed again.

    trouble: why the last writing failed, None once it works again
    """

    def __init__(self, record: Record, board: int, tell: Callable[[str], None]) -> None:
        self._record, self._board, self._tell = record, board, tell
        self._owed: list[Event] = []
        self.trouble: str | None = None

    def keep(self, guidance: Guidance, session: Session) -> Guidance:
        """What may be shown. A change that could not be written comes back as a refusal."""
        kept = [event for event in guidance.events if event.event != "frame"]
        if not kept and not self._owed:
            return guidance
        try:
            self._record.record(self._board, *self._owed, *kept)
        except StorageError as error:
            return self._not_kept(guidance, session, kept, error)
        self._owed = []
        if self.trouble is not None:
            self.trouble = None
            self._tell("The journal can be written again.")
        return guidance

    def _not_kept(
        self, guidance: Guidance, session: Session, events: list[Event], error: StorageError
    ) -> Guidance:
        changed = next((event for event in events if event.event in _UNDOABLE), None)
        if self.trouble is None or changed is not None:
            self._tell(str(error))
        self.trouble = str(error)
        if changed is None:
            self._owed += [event for event in events if event.event in FACTS]
            return guidance
        back = session.act(Undo(), guidance.time_s)
        what = f"hole {changed.hole}" if changed.hole is not None else "the last step"
        refusal = f"{what} does not count: it could not be written down ({error})"
        # Neither the change nor its way back happened as far as any record goes.
        told = [replace(event, event="refused", detail={"reason": refusal}) for event in (changed,)]
        return replace(back, refusal=refusal, events=tuple(told))
