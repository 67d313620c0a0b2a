"""Boards of one design side by side: what each took and how it came out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from drillaid.errors import UsageError
from drillaid.journal.journal import EventRecord, Journal, holes_now
from drillaid.journal.tables import local

LONG_BREAK_S = 600.0  # the operator was away; no time of drilling


@dataclass(frozen=True)
class BoardRow:
    """seconds: of work, long breaks left out; forced, undone: how often
    measured: whether it was looked at after drilling; what follows is None without that
    mean_off_mm: of the drilled holes, design axes; worst_hole: furthest off
    """

    board: int
    design: str
    simulated: bool
    begun: float
    seconds: float
    holes: int
    done: int
    skipped: int
    forced: int
    undone: int
    measured: bool
    mean_off_mm: tuple[float, float] | None
    rms_mm: float | None
    within_95_mm: float | None
    worst_hole: int | None
    worst_mm: float | None
    broken_out: int | None
    parts: int | None
    parts_fitting: int | None


def working_s(events: Sequence[EventRecord]) -> float:
    """From the first event to the last, long breaks left out."""
    times = [event.at for event in events]
    gaps = (b - a for a, b in zip(times, times[1:], strict=False))
    return sum(gap for gap in gaps if 0 <= gap < LONG_BREAK_S)


def last_measured(events: Sequence[EventRecord]) -> dict:
    """What the last look at the drilled board found ("holes", "parts", "summary"); {} for none."""
    looks = [event.data for event in events if event.event == "inspected"]
    return looks[-1] if looks else {}


def compare(journal: Journal, boards: Sequence[int]) -> tuple[BoardRow, ...]:
    """UsageError for boards of different designs: their figures say nothing side by side."""
    records = [journal.board(number) for number in boards]
    other = next((r for r in records if r.design_hash != records[0].design_hash), None)
    if other is not None:
        raise UsageError(
            f"board {other.id} ({other.design_name}) has other holes than board {records[0].id} "
            f"({records[0].design_name})",
            remedy="compare boards of one design",
        )
    return tuple(_row(journal, record) for record in records)


def _row(journal: Journal, record) -> BoardRow:
    events = journal.events(record.id)
    s = last_measured(events).get("summary") or {}
    done, _ = holes_now(events)
    forced = {e.hole for e in events if e.event == "hole_done" and e.data.get("forced")}
    mean = s.get("mean_off_mm")
    return BoardRow(
        record.id, record.design_name, record.simulated, record.started_at,
        working_s(events), record.holes, record.done, record.skipped, len(forced & done),
        sum(e.event == "undone" for e in events), bool(s),
        None if mean is None else (mean[0], mean[1]),
        *(s.get(key) for key in ("rms_mm", "within_95_mm", "worst_hole", "worst_mm", "broken_out",
                                 "parts", "parts_fitting")),
    )  # fmt: skip


def compare_text(rows: Sequence[BoardRow]) -> str:
    """One board a line."""
    lines = [
        "board  begun             minutes  holes done  skipped  forced   rms mm   95 % mm   "
        "worst mm  parts in"
    ]
    for r in rows:
        lines.append(
            f"{r.board:5}  {local(r.begun)}  {r.seconds / 60:7.1f}  {r.done:5} of {r.holes:<3} "
            f"{r.skipped:7}  {r.forced:6}  {_mm(r.rms_mm):>7}   {_mm(r.within_95_mm):>7}   "
            f"{_mm(r.worst_mm):>8}  {_of(r.parts_fitting, r.parts)}"
        )
    if any(not r.measured for r in rows):
        lines.append("Without figures: not photographed after drilling (records check does it).")
    return "\n".join(lines)


def _mm(value: float | None) -> str:
    return "-" if value is None else f"{value:.3f}"


def _of(some: int | None, whole: int | None) -> str:
    return "-" if not whole else f"{some} of {whole}"
