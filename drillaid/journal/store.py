"""The journal's file: opening, upgrading, guarding. One SQLite file in WAL mode.

Durable means: every write is one transaction with synchronous=FULL, so when the
call returns the operating system has been told to put it on the disk.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from drillaid.errors import StorageError

FILE_NAME = "journal.sqlite3"

# Each entry is applied once, in a transaction, and never changed afterwards.
MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE boards (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        started_at REAL NOT NULL,
        design_name TEXT NOT NULL,
        design_hash TEXT NOT NULL,
        holes INTEGER NOT NULL,
        details TEXT NOT NULL
    );
    CREATE TABLE events (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        board INTEGER NOT NULL REFERENCES boards(id),
        at REAL NOT NULL,
        event TEXT NOT NULL,
        hole INTEGER,
        data TEXT NOT NULL
    );
    CREATE INDEX events_by_board ON events(board, id);
    CREATE TABLE pictures (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        board INTEGER NOT NULL REFERENCES boards(id),
        at REAL NOT NULL,
        kind TEXT NOT NULL,
        format TEXT NOT NULL,
        data BLOB NOT NULL
    );
    CREATE INDEX pictures_by_board ON pictures(board, id);
    """,
    """
    CREATE TABLE inspections (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        board INTEGER NOT NULL REFERENCES boards(id),
        at REAL NOT NULL,
        picture INTEGER REFERENCES pictures(id),
        data TEXT NOT NULL
    );
    CREATE INDEX inspections_by_board ON inspections(board, id);
    """,
)


def data_folder() -> Path:
    """Where records are kept: $DRILLAID_DATA, else the platform's folder for user data."""
    named = os.environ.get("DRILLAID_DATA")
    if named:
        return Path(named).expanduser()
    import platformdirs

    return Path(platformdirs.user_data_dir("drillaid", appauthor=False))


class Store:
    """One open journal file; may be shared by threads, and by processes through the file.

    notice: a sentence for the operator if the file found was damaged and a new
      one begun, else None
    """

    def __init__(self, path: Path, *, timeout_s: float = 5.0) -> None:
        self.path = path
        self.notice: str | None = None
        self._timeout_s = timeout_s
        self._lock = threading.RLock()
        self._db: sqlite3.Connection | None = None
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise _no_place(path, error.strerror or str(error)) from error
        self._open_or_replace()

    def close(self) -> None:
        with self._lock:
            if self._db is not None:
                self._db.close()
                self._db = None

    @contextlib.contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """Writes that become durable together; raises StorageError, and then none of them is."""
        with self._lock, self._explained():
            self._check_still_there()
            self._db.execute("BEGIN IMMEDIATE")
            try:
                yield self._db
                self._db.execute("COMMIT")
            except BaseException:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise

    def rows(self, question: str, *values: Any) -> list[sqlite3.Row]:
        """All rows of one query."""
        with self._lock, self._explained():
            return self._db.execute(question, values).fetchall()

    # Opening

    def _open_or_replace(self) -> None:
        if not self._opens():
            self._replace()

    def _replace(self) -> None:
        """Another process may be doing the same: whoever gets the lock does it, once."""
        with _folder_lock(self.path, self._timeout_s):
            if self._opens():
                return  # the other process was first
            kept = _move_aside(self.path)
            self.notice = (
                f"The journal was damaged; it was kept as {kept} and a new one begun, "
                "so earlier boards are missing from the records."
            )
            if not self._opens():
                raise StorageError(
                    f"{self.path}: even a new journal cannot be read; check the disk."
                )

    def _opens(self) -> bool:
        """False if the file is damaged; any other failure is raised."""
        try:
            self._try_open()
        except sqlite3.Error as error:
            self.close()
            if _is_damage(error):
                return False
            raise self._explain(error) from error
        except StorageError:
            self.close()
            raise
        return True

    def _try_open(self) -> None:
        # Transactions are begun and ended by hand: isolation_level=None.
        db = self._db = sqlite3.connect(
            self.path, timeout=self._timeout_s, isolation_level=None, check_same_thread=False
        )
        db.row_factory = sqlite3.Row
        self._set_wal()
        db.execute("PRAGMA synchronous = FULL")
        db.execute("PRAGMA foreign_keys = ON")
        verdict = db.execute("PRAGMA quick_check(1)").fetchone()[0]
        if verdict != "ok":
            raise _Damaged(verdict)
        self._migrate()
        self._identity = _identity(self.path)

    def _set_wal(self) -> None:
        """The change to WAL ignores the busy timeout, so two first starts need a second try."""
        deadline = time.monotonic() + self._timeout_s
        while True:
            try:
                mode = self._db.execute("PRAGMA journal_mode = WAL").fetchone()[0]
                if mode != "wal":
                    raise StorageError(
                        f"{self.path}: this folder does not allow a safe journal (SQLite WAL); "
                        "choose one on a local disk with DRILLAID_DATA."
                    )
                return
            except sqlite3.OperationalError as error:
                if not _is_busy(error) or time.monotonic() > deadline:
                    raise
            time.sleep(0.02)

    def _migrate(self) -> None:
        db = self._db
        if self._version() == len(MIGRATIONS):
            return
        db.execute("BEGIN IMMEDIATE")
        try:
            db.execute(
                "CREATE TABLE IF NOT EXISTS migrations"
                " (version INTEGER PRIMARY KEY, at REAL NOT NULL)"
            )
            version = self._version()
            if version > len(MIGRATIONS):
                raise StorageError(
                    f"{self.path}: a newer drillaid wrote this journal; update this one."
                )
            for number in range(version, len(MIGRATIONS)):
                for statement in MIGRATIONS[number].split(";"):
                    db.execute(statement)
                db.execute("INSERT INTO migrations VALUES (?, ?)", (number + 1, time.time()))
            db.execute("COMMIT")
        except BaseException:
            if db.in_transaction:
                db.execute("ROLLBACK")
            raise

    def _version(self) -> int:
        there = self._db.execute(
            "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'migrations'"
        ).fetchone()
        if there is None:
            return 0
        return self._db.execute("SELECT coalesce(max(version), 0) FROM migrations").fetchone()[0]

    # Guarding

    def _check_still_there(self) -> None:
        """A file deleted under an open journal takes every later write with it, silently."""
        if self._db is None:
            raise StorageError(f"{self.path}: the journal is closed.")
        if _identity(self.path) != self._identity:
            raise StorageError(
                f"{self.path}: the journal was moved or deleted while it was open; "
                "nothing more can be recorded until drillaid is started again."
            )

    @contextlib.contextmanager
    def _explained(self) -> Iterator[None]:
        if self._db is None:
            raise StorageError(f"{self.path}: the journal is closed.")
        try:
            yield
        except sqlite3.Error as error:
            raise self._explain(error) from error

    def _explain(self, error: sqlite3.Error) -> StorageError:
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
        reasons = {
            sqlite3.SQLITE_FULL: "the disk is full, so this was not recorded; make room",
            sqlite3.SQLITE_READONLY: "the journal may only be read; allow writing or choose "
            "another folder with DRILLAID_DATA",
            sqlite3.SQLITE_PERM: "the journal may not be opened; check its permissions",
            sqlite3.SQLITE_CANTOPEN: "the journal cannot be opened; check the folder or choose "
            "another with DRILLAID_DATA",
            sqlite3.SQLITE_BUSY: f"another program kept the journal busy for {self._timeout_s:g} s;"
            " close it and try again",
            sqlite3.SQLITE_LOCKED: "another program keeps the journal locked; close it",
            sqlite3.SQLITE_IOERR: "the disk reported an error, so this was not recorded; check it",
            sqlite3.SQLITE_CORRUPT: "the journal is damaged; start drillaid again, which keeps "
            "it under another name and begins a new one",
            sqlite3.SQLITE_NOTADB: "the journal is damaged; start drillaid again, which keeps "
            "it under another name and begins a new one",
        }
        return StorageError(f"{self.path}: {reasons.get(code, f'the journal failed ({error})')}.")


class _Damaged(sqlite3.DatabaseError):
    """quick_check found something."""


def _is_damage(error: sqlite3.Error) -> bool:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    return isinstance(error, _Damaged) or code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def _is_busy(error: sqlite3.Error) -> bool:
    return getattr(error, "sqlite_errorcode", 0) & 0xFF in (
        sqlite3.SQLITE_BUSY,
        sqlite3.SQLITE_LOCKED,
    )


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _no_place(path: Path, reason: str) -> StorageError:
    return StorageError(
        f"{path.parent}: records cannot be kept here ({reason}); "
        "choose another folder with DRILLAID_DATA."
    )


def _move_aside(path: Path) -> Path:
    """The file and what belongs to it, under a name that says when; nothing is overwritten."""
    stamp = time.strftime("%Y%m%d-%H%M%S")
    kept = path.with_name(f"{path.stem}.damaged-{stamp}{path.suffix}")
    count = 1
    while kept.exists():
        count += 1
        kept = path.with_name(f"{path.stem}.damaged-{stamp}-{count}{path.suffix}")
    try:
        for ending in ("-wal", "-shm", ""):
            part = path.with_name(path.name + ending)
            if part.exists():
                part.rename(kept.with_name(kept.name + ending))
    except OSError as error:
        raise StorageError(
            f"{path}: the journal is damaged and cannot be moved aside "
            f"({error.strerror or error}); move it away by hand."
        ) from error
    return kept


@contextlib.contextmanager
def _folder_lock(path: Path, timeout_s: float) -> Iterator[None]:
    """One process at a time; a lock left by a dead process is taken over after the deadline."""
    lock = path.with_name(path.name + ".lock")
    deadline = time.monotonic() + timeout_s
    while True:
        try:
            os.close(os.open(lock, os.O_CREAT | os.O_EXCL | os.O_WRONLY))
            break
        except FileExistsError:
            if time.monotonic() > deadline:
                break
            time.sleep(0.02)
        except OSError as error:
            raise _no_place(path, error.strerror or str(error)) from error
    try:
        yield
    finally:
        with contextlib.suppress(OSError):
            lock.unlink()
