"""What the journal knows of a board's making, for its report."""

from __future__ import annotations

import time
from collections.abc import Sequence

from drillaid.inspection.report import BitUse, JobNotes
from drillaid.journal.compare import LONG_BREAK_S, working_s
from drillaid.journal.journal import BoardRecord, EventRecord, holes_now


def notes_of(record: BoardRecord, events: Sequence[EventRecord]) -> JobNotes:
    """Times, holes by bit with the time each bit took, and what went otherwise than planned."""
    return JobNotes(
        started=_clock(record.started_at),
        finished=_clock(record.last_at),
        seconds=working_s(events),
        bits=bit_uses(events),
        remarks=_remarks(events),
    )


def bit_uses(events: Sequence[EventRecord]) -> tuple[BitUse, ...]:
    """By bit: holes that are done, seconds from bit fitted to the last of them."""
    done, _ = holes_now(events)
    holes: dict[float, set[int]] = {}
    times: dict[float, list[float]] = {}
    for event in events:
        bit = event.data.get("bit_mm")
        if bit is None or event.event not in ("bit_fitted", "stop_done", "hole_done"):
            continue
        times.setdefault(bit, []).append(event.at)
        if event.event == "hole_done" and event.hole in done:
            holes.setdefault(bit, set()).add(event.hole)
    return tuple(BitUse(bit, len(mine), _sum_s(times[bit])) for bit, mine in holes.items())


def _sum_s(times: Sequence[float]) -> float:
    gaps = (b - a for a, b in zip(times, times[1:], strict=False))
    return sum(gap for gap in gaps if 0 <= gap < LONG_BREAK_S)


def _remarks(events: Sequence[EventRecord]) -> tuple[str, ...]:
    done, skipped = holes_now(events)
    forced = sorted(
        {e.hole for e in events if e.event == "hole_done" and e.data.get("forced")} & done
    )
    remarks = []
    if forced:
        remarks.append(f"Counted although their place was not vouched for: {_holes(forced)}.")
    if skipped:
        remarks.append(f"Put aside and not drilled: {_holes(sorted(skipped))}.")
    undone = sum(e.event == "undone" for e in events)
    if undone:
        remarks.append(f"{undone} step{'s' if undone > 1 else ''} taken back.")
    lost = sum(e.event == "lost" for e in events)
    if lost:
        remarks.append(f"The board was lost from sight {lost} time{'s' if lost > 1 else ''}.")
    remarks += [f"Put away: {e.data.get('reason')}." for e in events if e.event == "put_away"]
    return tuple(remarks)


def _holes(numbers) -> str:
    return f"hole{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers))}"


def _clock(seconds: float) -> str:
    return time.strftime("%Y-%m-%d %H:%M", time.localtime(seconds))
