"""Inspections in the journal: written with their board, and read back beside what was aimed at.

An inspection is one event, "inspected", whose data hold what `inspect --json` says of the
holes and parts, so nothing of it is lost to what comes later.
"""

from __future__ import annotations

import json
import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drillaid.guidance.events import Event
from drillaid.guidance.work import Work
from drillaid.inspection.learning import Drilled
from drillaid.inspection.result import DRILLED, Inspection
from drillaid.journal.journal import BoardRecord, EventRecord, Journal, design_hash, holes_now
from drillaid.journal.resume import spindle_of

INSPECTED = "inspected"
SIMULATED = "(simulated bench)"  # how such a board's name ends in the journal
ANOTHER_RIG_MM = 2.0  # no spindle wanders so far from its place in the rig file
RECENT_S = 24 * 3600.0  # a photograph taken later may well show another board


def board_to_record_with(
    journal: Journal, design, now_s: float | None = None
) -> BoardRecord | None:
    """The newest board of this design, none simulated, if it was worked on within a day."""
    own = design_hash(design)
    now = time.time() if now_s is None else now_s
    own_boards = (b for b in journal.boards() if b.design_hash == own)
    board = next((b for b in own_boards if not b.design_name.endswith(SIMULATED)), None)
    return board if board is not None and now - board.last_at <= RECENT_S else None


def record_inspection(
    journal: Journal, board: int, inspection: Inspection, data: dict, *, photo: str
) -> None:
    """data: `inspect --json` without the registration; durable when this returns."""
    kept = {key: data[key] for key in ("holes", "parts", "summary")}
    kept |= {"photo": photo, "true_scale": inspection.true_scale, "message": inspection.message}
    plain = json.loads(json.dumps(kept, default=lambda value: value.tolist()))
    journal.record(board, Event(0.0, INSPECTED, detail=plain))


@dataclass(frozen=True)
class Learned:
    """holes: guided and measured; silent: boards that were inspected but tell nothing, by reason"""

    holes: tuple[Drilled, ...]
    silent: dict[int, str]


def drilled_holes(journal: Journal, *, spindle_mm=None, boards: Sequence[int] | None = None):
    """`Learned` from all boards, or these.

    spindle_mm: function of a thickness giving where the rig now says the axis meets that
      height (2,), bench mm. Offsets are then stated against that place, whatever it was when
      the board was drilled; boards that do not tell it are silent. None: against the place
      that was used.
    """
    holes: list[Drilled] = []
    silent: dict[int, str] = {}
    for record in reversed(journal.boards()):
        if boards is not None and record.id not in boards:
            continue
        events = journal.events(record.id)
        if not any(e.event == INSPECTED for e in events):
            continue
        if boards is None and record.design_name.endswith(SIMULATED):
            silent[record.id] = "it was drilled on the simulated bench"
            continue
        found, why = _of_board(record, events, spindle_mm)
        if not found:
            silent[record.id] = why
        holes += found
    return Learned(tuple(holes), silent)


def _moved(record: BoardRecord, then, spindle_mm) -> np.ndarray | str:
    """Where the axis was said to be then, less where it is said to be now; or why it is no use."""
    if spindle_mm is None:
        return np.zeros(2)
    now = spindle_mm(float(record.details.get("thickness_mm", 1.6)))
    if now is None or then is None:
        return "it does not tell for which place of the spindle it was drilled"
    moved = np.array(then, dtype=np.float64) - np.asarray(now)
    if np.hypot(*moved) > ANOTHER_RIG_MM:
        return "it was drilled with another rig, or before the bench was calibrated anew"
    return moved


def _of_board(
    record: BoardRecord, events: Sequence[EventRecord], spindle_mm
) -> tuple[list[Drilled], str]:
    """(its holes, why there are none)"""
    done, _ = holes_now(events)
    bits = bits_of(record)
    seen = next(e for e in reversed(events) if e.event == INSPECTED)
    measured = {
        row["hole"]: row
        for row in seen.data.get("holes", [])
        if row.get("state") == DRILLED and row.get("off_mm") is not None
    }
    shared = [_shared(row) for row in measured.values()]
    shared_mm = float(np.median(shared)) if shared else 0.0
    turn, why = None, "no hole was both guided by a rig file and measured"
    found: dict[int, Drilled] = {}
    for k, event in enumerate(events):
        if event.data.get("matrix") is not None:
            turn = np.array(event.data["matrix"], dtype=np.float64)[:, :2]
        aimed = event.data.get("off_mm")
        row = measured.get(event.hole)
        if event.event != "hole_done" or event.hole not in done or row is None:
            continue
        if turn is None or aimed is None or not seen.data.get("true_scale", True):
            continue
        moved = _moved(record, spindle_of(record, events[:k]), spindle_mm)
        if isinstance(moved, str):
            why = moved
            continue
        off = turn @ np.array(row["off_mm"]) - np.array(aimed) + moved
        bit = event.data.get("bit_mm") or bits.get(event.hole) or row.get("asked_mm") or 0.0
        found[event.hole] = Drilled(
            record.id, event.hole, event.at, float(bit), (float(off[0]), float(off[1])),
            float(row.get("centre_error_mm") or 0.0), shared_mm,
        )  # fmt: skip
    return list(found.values()), why


def _shared(row: dict) -> float:
    """What a hole's error holds beyond its own centre's: the board's place in the photograph."""
    whole = row.get("expected_error_mm") or 0.0
    own = row.get("centre_error_mm") or 0.0
    return float(np.sqrt(max(whole**2 - own**2, 0.0)))


def bits_of(record: BoardRecord) -> dict[int, float]:
    """The planned bit of each hole, as far as the record tells."""
    try:
        return {stop.hole: stop.bit_mm for stop in Work.from_json(record.details["stops"]).stops}
    except (KeyError, TypeError, ValueError):
        return {}
