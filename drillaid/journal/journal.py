"""What was done to each board, written down the moment it happens."""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from drillaid.errors import UsageError
from drillaid.guidance.events import Event
from drillaid.journal.store import FILE_NAME, Store, data_folder

if TYPE_CHECKING:
    from drillaid.design.model import Design

# Ends the name of a design that was drilled on the simulated bench: such a board must never be
# mistaken for one of copper.
SIMULATED = " (simulated bench)"
# The last of these in a board's events says whether work on it is over.
_ENDS = ("finished", "put_away")
_GOES_ON = ("undone", "taken_back", "as_seen")
# All that say how many holes are done; a long list of boards reads no others.
_COUNTING = ("hole_done", "stop_done", "skipped", "taken_back", "undone", "as_seen", *_ENDS)
# A live picture stream is no record; everything else a session says is.
_NOT_KEPT = frozenset({"frame"})


@dataclass(frozen=True)
class BoardRecord:
    """One board. started_at, last_at: seconds since 1970 (UTC); details: as given at the start.

    holes: of the design; done, skipped: how many of them now; finished: nothing is
    left to do, or it was put away
    """

    id: int
    started_at: float
    last_at: float
    design_name: str
    design_hash: str
    holes: int
    done: int
    skipped: int
    finished: bool
    details: dict = field(default_factory=dict)

    @property
    def simulated(self) -> bool:
        """No real board was drilled."""
        return self.design_name.endswith((SIMULATED, ", simulated bench"))


@dataclass(frozen=True)
class EventRecord:
    """One event of a board. data: all keys of its line but event and hole."""

    id: int
    board: int
    at: float
    event: str
    hole: int | None
    data: dict


@dataclass(frozen=True)
class PictureRecord:
    """A picture kept with a board; `Journal.picture` gives its bytes. kind: "before" …"""

    id: int
    board: int
    at: float
    kind: str
    format: str
    size: int


@dataclass(frozen=True)
class InspectionRecord:
    """One look at a drilled board. picture: the number of its photograph, if it was kept
    data: as `inspection.filed` writes and reads it"""

    id: int
    board: int
    at: float
    picture: int | None
    data: dict


class Journal:
    """All records of one person on one machine.

    Every method may raise StorageError, and UsageError for a number that is not there.
    """

    def __init__(self, store: Store, clock: Callable[[], float]) -> None:
        self._store = store
        self._clock = clock

    @classmethod
    def open(
        cls,
        path: str | Path | None = None,
        *,
        timeout_s: float = 5.0,
        clock: Callable[[], float] = time.time,
    ) -> Journal:
        """path: the file or the folder it is in; None: $DRILLAID_DATA or the user's data folder.

        timeout_s: how long another process may keep the file busy. Look at `notice`.
        """
        place = data_folder() if path is None else Path(path)
        if place.is_dir() or not place.suffix:
            place = place / FILE_NAME
        return cls(Store(place, timeout_s=timeout_s), clock)

    @property
    def path(self) -> Path:
        return self._store.path

    @property
    def notice(self) -> str | None:
        """A sentence for the operator if a damaged file was found and moved aside."""
        return self._store.notice

    def close(self) -> None:
        self._store.close()

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *exc_info) -> None:
        self.close()

    # Writing

    def start_board(
        self, design_name: str, design_hash: str, *, holes: int, details: dict | None = None
    ) -> int:
        """A new board's number. details: whatever resuming needs, as JSON can hold it."""
        row = (self._clock(), design_name, design_hash, holes, _json(details or {}))
        with self._store.transaction() as db:
            return db.execute(
                "INSERT INTO boards (started_at, design_name, design_hash, holes, details)"
                " VALUES (?, ?, ?, ?, ?)",
                row,
            ).lastrowid

    def record(self, board: int, *events: Event) -> None:
        """Durable when this returns, all together. Events named "frame" are passed over."""
        kept = [event for event in events if event.event not in _NOT_KEPT]
        if not kept:
            return
        at = self._clock()
        rows = []
        for event in kept:
            data = event.to_json()
            rows.append((board, at, data.pop("event"), data.pop("hole"), _json(data)))
        self._insert_events(board, rows)

    def put_away(self, board: int, reason: str) -> None:
        """Work on this board is over although holes are left."""
        row = (board, self._clock(), "put_away", None, _json({"reason": reason}))
        self._insert_events(board, [row])

    def keep_picture(self, board: int, kind: str, data: bytes, *, format: str) -> int:
        """An encoded picture (format: "jpg", "png"); its number."""
        self.board(board)
        with self._store.transaction() as db:
            return db.execute(
                "INSERT INTO pictures (board, at, kind, format, data) VALUES (?, ?, ?, ?, ?)",
                (board, self._clock(), kind, format, data),
            ).lastrowid

    def keep_inspection(
        self, board: int, data: dict, picture: bytes | None = None, *, format: str = "jpg"
    ) -> int:
        """What was measured and its photograph, both or neither; its number."""
        self.board(board)
        at, number = self._clock(), None
        with self._store.transaction() as db:
            if picture is not None:
                number = db.execute(
                    "INSERT INTO pictures (board, at, kind, format, data) VALUES (?, ?, ?, ?, ?)",
                    (board, at, "drilled", format, picture),
                ).lastrowid
            return db.execute(
                "INSERT INTO inspections (board, at, picture, data) VALUES (?, ?, ?, ?)",
                (board, at, number, _json(data)),
            ).lastrowid

    def _insert_events(self, board: int, rows: list[tuple]) -> None:
        with self._store.transaction() as db:
            if db.execute("SELECT 1 FROM boards WHERE id = ?", (board,)).fetchone() is None:
                raise _unknown(self.path, board)
            db.executemany(
                "INSERT INTO events (board, at, event, hole, data) VALUES (?, ?, ?, ?, ?)", rows
            )

    # Reading

    def boards(self) -> list[BoardRecord]:
        """All boards, the newest first."""
        rows = self._store.rows(
            "SELECT *, (SELECT max(at) FROM events WHERE board = boards.id) AS last_at"
            " FROM boards ORDER BY id DESC"
        )
        counting: dict[int, list[EventRecord]] = {}
        marks = ", ".join("?" * len(_COUNTING))
        for event in self._store.rows(
            f"SELECT * FROM events WHERE event IN ({marks}) ORDER BY id", *_COUNTING
        ):
            counting.setdefault(event["board"], []).append(_event(event))
        return [_board(row, counting.get(row["id"], []), row["last_at"]) for row in rows]

    def board(self, number: int) -> BoardRecord:
        rows = self._store.rows("SELECT * FROM boards WHERE id = ?", number)
        if not rows:
            raise _unknown(self.path, number)
        events = self._events(number)
        return _board(rows[0], events, events[-1].at if events else None)

    def unfinished(self) -> list[BoardRecord]:
        """Boards with something left to do, the newest first."""
        return [board for board in self.boards() if not board.finished]

    def events(self, board: int) -> list[EventRecord]:
        """What happened to one board, in order."""
        self.board(board)
        return self._events(board)

    def pictures(self, board: int) -> list[PictureRecord]:
        rows = self._store.rows(
            "SELECT id, board, at, kind, format, length(data) AS size FROM pictures"
            " WHERE board = ? ORDER BY id",
            board,
        )
        return [PictureRecord(**dict(row)) for row in rows]

    def picture(self, number: int) -> bytes:
        rows = self._store.rows("SELECT data FROM pictures WHERE id = ?", number)
        if not rows:
            raise UsageError(f"there is no picture {number} in {self.path}")
        return rows[0]["data"]

    def inspections(self, board: int) -> list[InspectionRecord]:
        """Every look at that board, in order."""
        self.board(board)
        rows = self._store.rows("SELECT * FROM inspections WHERE board = ? ORDER BY id", board)
        return [
            InspectionRecord(r["id"], board, r["at"], r["picture"], json.loads(r["data"]))
            for r in rows
        ]

    def _events(self, board: int) -> list[EventRecord]:
        rows = self._store.rows("SELECT * FROM events WHERE board = ? ORDER BY id", board)
        return [_event(row) for row in rows]


def _event(row) -> EventRecord:
    return EventRecord(
        row["id"], row["board"], row["at"], row["event"], row["hole"], json.loads(row["data"])
    )


def _board(row, events: Sequence[EventRecord], last_at: float | None) -> BoardRecord:
    done, skipped = holes_now(events)
    turns = [e.event for e in events if e.event in _ENDS + _GOES_ON]
    return BoardRecord(
        id=row["id"],
        started_at=row["started_at"],
        last_at=row["started_at"] if last_at is None else last_at,
        design_name=row["design_name"],
        design_hash=row["design_hash"],
        holes=row["holes"],
        done=len(done),
        skipped=len(skipped),
        finished=bool(turns) and turns[-1] in _ENDS,
        details=json.loads(row["details"]),
    )


def holes_now(events: Sequence[EventRecord]) -> tuple[frozenset[int], frozenset[int]]:
    """Holes done and holes skipped after all these events, undoing counted."""
    done: frozenset[int] = frozenset()
    skipped: frozenset[int] = frozenset()
    before = []
    for event in events:
        if event.event in ("hole_done", "stop_done", "skipped", "taken_back", "as_seen"):
            before.append((done, skipped))
        if event.event == "hole_done":
            done |= {event.hole}
        elif event.event == "skipped":
            skipped |= {event.hole}
        elif event.event == "taken_back":
            skipped -= set(event.data["holes"])
        elif event.event == "as_seen":
            seen, not_there = (set(event.data[k]) for k in ("drilled", "undrilled"))
            done, skipped = (done | seen) - not_there, skipped - seen - not_there
        elif event.event == "undone" and before:
            done, skipped = before.pop()
    return done, skipped


def design_hash(design: Design) -> str:
    """The same for two readings of the same holes, whatever the files are called."""
    rows = [
        [round(h.x_mm, 4), round(h.y_mm, 4), round(h.drill_mm, 4), h.slot_to_mm]
        for h in design.holes
    ]
    return hashlib.sha256(_json(rows).encode()).hexdigest()


def _json(data) -> str:
    return json.dumps(data, allow_nan=False, ensure_ascii=False)


def _unknown(path: Path, board: int) -> UsageError:
    return UsageError(
        f"there is no board {board} in {path}", remedy="`drillaid records list` shows all"
    )
