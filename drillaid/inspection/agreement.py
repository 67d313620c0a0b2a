"""What the record says of a board against what is to be seen on it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from drillaid.inspection.result import DRILLED, HIDDEN, UNDRILLED, HoleFinding

MANY = 3  # holes missing, from which on another board is thought of
NAMED = 8  # holes named in a sentence; further ones are counted


@dataclass(frozen=True)
class Agreement:
    """Hole numbers. missing: recorded as done, and not there; extra: there, and not recorded;
    unseen: recorded as done, hidden or not in the picture"""

    missing: tuple[int, ...]
    extra: tuple[int, ...]
    unseen: tuple[int, ...]
    agreeing: int

    @property
    def ok(self) -> bool:
        """Nothing speaks against the record."""
        return not (self.missing or self.extra)

    @property
    def elsewhere(self) -> bool:
        """So little agrees that another board is likelier than a slip."""
        return len(self.missing) >= MANY and len(self.missing) > self.agreeing

    @property
    def sentence(self) -> str:
        """For a person, with what to do."""
        if self.ok:
            words = f"Record and board agree: {self.agreeing} holes drilled"
            if self.unseen:
                words += f", {_named(self.unseen)} not to be seen"
            return words + "."
        if self.elsewhere:
            return (
                f"This does not look like the board of the record: {len(self.missing)} holes that "
                f"it says are drilled are not there, and {self.agreeing} are. Lay the right board "
                "under the camera, or begin a new one."
            )
        parts = []
        if self.missing:
            parts.append(f"recorded as drilled but not there: {_named(self.missing)}")
        if self.extra:
            parts.append(f"drilled but not recorded: {_named(self.extra)}")
        return (
            f"Record and board disagree ({'; '.join(parts)}). Look at these holes before "
            "going on: it may be another board of the same design."
        )


def agreement(
    done: Iterable[int], holes: Iterable[HoleFinding], least: float = 0.0
) -> Agreement:
    """done: the holes recorded as drilled; holes: as they were found on the board;
    least: certainty of what speaks against the record, below which it counts as hidden
    """
    recorded = set(done)
    seen = {state: set() for state in (DRILLED, UNDRILLED, HIDDEN)}
    for hole in holes:
        against = (hole.hole in recorded) != (hole.state == DRILLED)
        clear = not against or hole.certainty >= least
        seen[hole.state if clear else HIDDEN].add(hole.hole)
    return Agreement(
        tuple(sorted(recorded & seen[UNDRILLED])),
        tuple(sorted(seen[DRILLED] - recorded)),
        tuple(sorted(recorded & seen[HIDDEN])),
        len(recorded & seen[DRILLED]),
    )


def _named(holes: tuple[int, ...]) -> str:
    words = ", ".join(map(str, holes[:NAMED]))
    more = f" and {len(holes) - NAMED} more" if len(holes) > NAMED else ""
    return f"hole{'s' if len(holes) > 1 else ''} {words}{more}"
