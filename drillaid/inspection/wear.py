"""How many holes each bit has drilled, from the journal, and since when it is the same bit."""

from __future__ import annotations

import time
from dataclasses import dataclass

from drillaid.errors import UsageError
from drillaid.guidance.events import Event
from drillaid.inspection.recording import SIMULATED, bits_of
from drillaid.journal.journal import Journal, holes_now

NEW_BIT = "new_bit"


@dataclass(frozen=True)
class BitUse:
    """holes: drilled with this size in all; since_new: since a new one was recorded
    since_s: when that was, seconds since 1970; 0.0 where none was"""

    bit_mm: float
    holes: int
    since_new: int
    since_s: float = 0.0

    @property
    def new(self) -> str | None:
        """When the present bit was recorded as new, UTC."""
        return (
            time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(self.since_s)) if self.since_s else None
        )

    @property
    def sentence(self) -> str:
        words = f"{self.bit_mm:g} mm: {self.holes} hole{'s' * (self.holes != 1)} recorded"
        if self.since_s:
            day = time.strftime("%Y-%m-%d", time.localtime(self.since_s))
            words += f", {self.since_new} of them since a new bit on {day}"
        return words + "."


def record_new_bit(journal: Journal, bit_mm: float) -> None:
    """Written with the newest board; UsageError where there is none yet."""
    boards = journal.boards()
    if not boards:
        raise UsageError(
            "no board is recorded yet, so nothing counts against this bit",
            remedy="guide a board first",
        )
    journal.record(boards[0].id, Event(0.0, NEW_BIT, detail={"bit_mm": bit_mm}))


def bit_uses(journal: Journal) -> tuple[BitUse, ...]:
    """By size, simulated boards left out; a slot counts once for each place of the bit."""
    downs: dict[float, list[float]] = {}
    new: dict[float, float] = {}
    for record in journal.boards():
        if record.design_name.endswith(SIMULATED):
            continue  # that bit was none
        events = journal.events(record.id)
        done, _ = holes_now(events)
        planned = bits_of(record)
        for event in events:
            bit = event.data.get("bit_mm")
            if event.event == NEW_BIT and bit is not None:
                new[float(bit)] = max(new.get(float(bit), 0.0), event.at)
            if event.event not in ("hole_done", "stop_done"):
                continue
            if event.event == "hole_done" and event.hole not in done:
                continue  # taken back
            size = bit if bit is not None else planned.get(event.hole)
            if size is not None:
                downs.setdefault(float(size), []).append(event.at)
    return tuple(
        BitUse(size, len(times), sum(at >= new.get(size, 0.0) for at in times), new.get(size, 0.0))
        for size, times in sorted(downs.items())
    )
