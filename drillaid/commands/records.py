"""`drillaid records`: what was done, from the journal."""

from __future__ import annotations

import argparse
import csv
import io
import time

from drillaid.commands import Answer, say
from drillaid.errors import UsageError

SUMMARY = "lists, shows and exports what was done"
EXAMPLE = "drillaid records export 3 --csv > board3.csv"

_COLUMNS = ("at", "event", "hole", "off_x_mm", "off_y_mm", "distance_mm", "expected_error_mm")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("what", nargs="?", choices=("list", "show", "export"), default="list")
    parser.add_argument(
        "board", nargs="?", type=int, metavar="BOARD", help="its number in the list"
    )
    parser.add_argument("--csv", action="store_true", help="export as CSV (the default)")
    parser.add_argument(
        "--data", metavar="DIR", help="the folder of the journal (default: $DRILLAID_DATA or yours)"
    )


def run(args: argparse.Namespace) -> Answer:
    from drillaid.journal.journal import Journal

    if args.what != "list" and args.board is None:
        raise UsageError(
            f"records {args.what} needs the number of a board", remedy="see drillaid records list"
        )
    with Journal.open(args.data) as journal:
        if journal.notice:
            say(journal.notice)
        if args.what == "list":
            return _list(journal)
        board, events = journal.board(args.board), journal.events(args.board)
        data = _board_data(board) | {"events": [_event_data(event) for event in events]}
        text = _csv(events) if args.what == "export" else _show(board, events)
        return Answer(text, data)


def _list(journal) -> Answer:
    boards = journal.boards()
    data = {"journal": str(journal.path), "boards": [_board_data(board) for board in boards]}
    if not boards:
        return Answer(f"No boards are recorded in {journal.path}.", data)
    lines = ["board  begun             holes  done  skipped  state       design"]
    lines += [
        f"{b.id:5}  {_local(b.started_at)}  {b.holes:5}  {b.done:4}  {b.skipped:7}  "
        f"{'finished' if b.finished else 'unfinished':10}  {_plain(b.design_name)}"
        for b in boards
    ]
    return Answer("\n".join(lines), data)


def _show(board, events) -> str:
    lines = [
        f"Board {board.id}: {_plain(board.design_name)}, begun {_local(board.started_at)}, "
        f"{board.done} of {board.holes} holes done, {board.skipped} skipped."
    ]
    for event in events:
        distance, error = event.data.get("distance_mm"), event.data.get("expected_error_mm")
        where = "" if event.hole is None else f"hole {event.hole}"
        off = "" if distance is None else f"{distance:.3f} mm off"
        if off and error is not None:
            off += f", known to {error:.3f} mm"
        forced = "forced" if event.data.get("forced") else ""
        why = event.data.get("reason") or event.data.get("message") or ""
        rest = "  ".join(part for part in (where, off, forced, why) if part)
        lines.append(f"  {_local(event.at, seconds_too=True)}  {event.event:10}  {rest}".rstrip())
    return "\n".join(lines)


def _csv(events) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([*_COLUMNS, "forced", "bit_mm", "reason"])
    for e in events:
        off = e.data.get("off_mm") or (None, None)
        cells = [_utc(e.at), e.event, e.hole, *off]
        cells += [e.data.get(key) for key in ("distance_mm", "expected_error_mm")]
        cells += [e.data.get(key) for key in ("forced", "bit_mm", "reason")]
        writer.writerow(cells)
    return out.getvalue().rstrip("\n")


def _board_data(board) -> dict:
    return {
        "board": board.id,
        "begun": _utc(board.started_at),
        "last": _utc(board.last_at),
        "design": board.design_name,
        "design_hash": board.design_hash,
        "holes": board.holes,
        "done": board.done,
        "skipped": board.skipped,
        "finished": board.finished,
    }


def _event_data(event) -> dict:
    return {"at": _utc(event.at), "event": event.event, "hole": event.hole, **event.data}


def _utc(seconds: float) -> str:
    whole = time.strftime("%Y-%m-%dT%H:%M:%S", time.gmtime(seconds))
    return f"{whole}.{int(seconds * 1000) % 1000:03}Z"


def _local(seconds: float, *, seconds_too: bool = False) -> str:
    form = "%Y-%m-%d %H:%M:%S" if seconds_too else "%Y-%m-%d %H:%M"
    return time.strftime(form, time.localtime(seconds))


def _plain(text: str) -> str:
    """A file's name may hold line ends and worse, which a terminal would obey."""
    return "".join(c if c.isprintable() else "?" for c in text)
