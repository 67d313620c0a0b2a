"""Records as text for a terminal, as JSON and as CSV."""

from __future__ import annotations

import csv
import io
import time
from collections.abc import Mapping, Sequence

from drillaid.errors import printable
from drillaid.journal.journal import BoardRecord, EventRecord

_COLUMNS = ("at", "event", "hole", "off_x_mm", "off_y_mm", "distance_mm", "expected_error_mm")
# What a table program would take for a formula at a cell's beginning.
_FORMULA = ("=", "+", "-", "@", "\t")


def list_text(boards: Sequence[BoardRecord]) -> str:
    """One board a line, the newest first."""
    lines = ["board  begun             holes  done  skipped  state       design"]
    lines += [
        f"{b.id:5}  {local(b.started_at)}  {b.holes:5}  {b.done:4}  {b.skipped:7}  "
        f"{'finished' if b.finished else 'unfinished':10}  {printable(b.design_name)}"
        for b in boards
    ]
    return "\n".join(lines)


def show_text(board: BoardRecord, events: Sequence[EventRecord]) -> str:
    """What happened to one board, in order."""
    lines = [
        f"Board {board.id}: {printable(board.design_name)}, begun {local(board.started_at)}, "
        f"{board.done} of {board.holes} holes done, {board.skipped} skipped."
    ]
    for event in events:
        distance, error = event.data.get("distance_mm"), event.data.get("expected_error_mm")
        where = "" if event.hole is None else f"hole {event.hole}"
        off = "" if distance is None else f"{distance:.3f} mm off"
        if off and error is not None:
            off += f", known to {error:.3f} mm"
        forced = "forced" if event.data.get("forced") else ""
        why = printable(str(event.data.get("reason") or event.data.get("message") or ""))
        rest = "  ".join(part for part in (where, off, forced, why) if part)
        lines.append(f"  {local(event.at, seconds_too=True)}  {event.event:10}  {rest}".rstrip())
    return "\n".join(lines)


def csv_text(events_by_board: Mapping[int, Sequence[EventRecord]]) -> str:
    """One event a line; a column for the board where there are several."""
    several = len(events_by_board) != 1
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    head = [*_COLUMNS, "forced", "bit_mm", "reason"]
    writer.writerow(["board", *head] if several else head)
    for board, events in events_by_board.items():
        for e in events:
            off = e.data.get("off_mm") or (None, None)
            cells = [utc(e.at), e.event, e.hole, *off]
            cells += [e.data.get(key) for key in ("distance_mm", "expected_error_mm")]
            cells += [e.data.get("forced"), e.data.get("bit_mm"), _harmless(e.data.get("reason"))]
            writer.writerow([board, *cells] if several else cells)
    return out.getvalue().rstrip("\n")


def _harmless(text):
    return f"'{text}" if isinstance(text, str) and text.startswith(_FORMULA) else text


def board_data(board: BoardRecord) -> dict:
    """As JSON holds it."""
    return {
        "board": board.id,
        "begun": utc(board.started_at),
        "last": utc(board.last_at),
        "design": board.design_name,
        "design_hash": board.design_hash,
        "holes": board.holes,
        "done": board.done,
        "skipped": board.skipped,
        "finished": board.finished,
    }


def event_data(event: EventRecord) -> dict:
    """As JSON holds it."""
    return {"at": utc(event.at), "event": event.event, "hole": event.hole, **event.data}


def utc(seconds: float) -> str:
    """ISO 8601, to the millisecond."""
    whole = time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(seconds))
    return f"{whole}.{int(seconds * 1000) % 1000:03}Z"


def local(seconds: float, *, seconds_too: bool = False) -> str:
    """By the clock on the wall."""
    form = "%Y-%m-%d %H:%M:%S" if seconds_too else "%Y-%m-%d %H:%M"
    return time.strftime(form, time.localtime(seconds))
