from __future__ import annotations

import os
import random
import sqlite3
import stat
import subprocess
import threading
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.children import program

from drillaid.errors import StorageError, UsageError
from drillaid.guidance.events import Event
from drillaid.journal import store
from drillaid.journal.journal import EventRecord, Journal, holes_now


@pytest.fixture
def journal(tmp_path):
    with Journal.open(tmp_path / "records") as journal:
        yield journal


def done(hole: int, **detail) -> Event:
    return Event(12.5, "hole_done", hole=hole, off_mm=(0.01, -0.02), detail=detail)


def test_what_was_recorded_is_there_when_opened_again(tmp_path):
    with Journal.open(tmp_path) as first:
        board = first.start_board("größe 'x'", "abc", holes=3, details={"face": "bottom"})
        first.record(board, done(1, forced=False), Event(13.0, "skipped", hole=2))
        first.record(board, Event(13.1, "frame"))
    with Journal.open(tmp_path) as again:
        (record,) = again.boards()
        assert (record.design_name, record.details) == ("größe 'x'", {"face": "bottom"})
        assert (record.holes, record.done, record.skipped, record.finished) == (3, 1, 1, False)
        events = again.events(board)
        assert [(e.event, e.hole) for e in events] == [("hole_done", 1), ("skipped", 2)]
        assert events[0].data["off_mm"] == [0.01, -0.02] and events[0].data["forced"] is False


def test_the_file_is_in_wal_mode_and_syncs_fully(journal):
    (mode,) = journal._store.rows("PRAGMA journal_mode")
    (sync,) = journal._store.rows("PRAGMA synchronous")
    assert (mode[0], sync[0]) == ("wal", 2)  # 2 is FULL


def test_the_folder_is_the_user_s_unless_named(tmp_path, monkeypatch, own_home):
    monkeypatch.delenv("DRILLAID_DATA", raising=False)
    with Journal.open() as journal:
        assert own_home in journal.path.parents
    monkeypatch.setenv("DRILLAID_DATA", str(tmp_path / "named"))
    with Journal.open() as journal:
        assert journal.path == tmp_path / "named" / "journal.sqlite3"
    with Journal.open(tmp_path / "other.db") as journal:
        assert journal.path == tmp_path / "other.db"


def test_unfinished_boards_are_found(journal):
    one, two, three = (journal.start_board(name, name, holes=1) for name in "abc")
    journal.record(one, done(1), Event(1.0, "finished"))
    journal.record(two, done(1), Event(1.0, "finished"), Event(2.0, "undone"))
    journal.put_away(three, "etched too far")
    assert [board.id for board in journal.unfinished()] == [two]


def test_pictures_are_kept_whole(journal):
    board = journal.start_board("a", "a", holes=1)
    data = random.Random(1).randbytes(300_000)
    number = journal.keep_picture(board, "before", data, format="jpg")
    (listed,) = journal.pictures(board)
    assert (listed.id, listed.kind, listed.format, listed.size) == (
        number,
        "before",
        "jpg",
        300_000,
    )
    assert journal.picture(number) == data


def test_what_is_not_there_is_said(journal):
    for ask in (
        lambda: journal.events(7),
        lambda: journal.record(7, done(1)),
        lambda: journal.keep_picture(7, "before", b"", format="jpg"),
    ):
        with pytest.raises(UsageError, match="there is no board 7"):
            ask()
    with pytest.raises(UsageError, match="no picture 3"):
        journal.picture(3)


names = st.sampled_from(["hole_done", "stop_done", "skipped", "taken_back", "undone", "lost"])


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(names, st.integers(1, 4)), max_size=20))
def test_counting_holes_never_fails_and_never_counts_twice(rows):
    events = [
        EventRecord(i, 1, 0.0, name, None if name == "taken_back" else hole, {"holes": [hole]})
        for i, (name, hole) in enumerate(rows)
    ]
    finished, skipped = holes_now(events)
    assert finished | skipped <= {1, 2, 3, 4}


# What can go wrong with the file


def test_a_full_disk_is_said_and_nothing_is_half_written(journal):
    board = journal.start_board("a", "a", holes=1)
    pages = journal._store.rows("PRAGMA page_count")[0][0]
    journal._store.rows(f"PRAGMA max_page_count = {pages + 2}")
    with pytest.raises(StorageError, match=r"disk is full, so this was not recorded; make room\.$"):
        journal.keep_picture(board, "before", bytes(100_000), format="png")
    assert journal.pictures(board) == []
    journal.record(board, done(1))  # the journal still works


def test_a_journal_that_may_only_be_read(journal):
    board = journal.start_board("a", "a", holes=1)
    journal._store.rows("PRAGMA query_only = ON")
    with pytest.raises(StorageError, match="may only be read"):
        journal.record(board, done(1))


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="everything is open to root")
def test_a_folder_that_may_only_be_read(tmp_path):
    tmp_path.chmod(stat.S_IRUSR | stat.S_IXUSR)
    with pytest.raises(StorageError, match="DRILLAID_DATA"):
        Journal.open(tmp_path / "records")


def test_a_folder_that_cannot_be_made(tmp_path):
    (tmp_path / "file").write_text("no folder")
    with pytest.raises(StorageError, match="records cannot be kept here.*DRILLAID_DATA"):
        Journal.open(tmp_path / "file" / "records")


def test_a_busy_journal_is_waited_for_only_so_long(tmp_path):
    with Journal.open(tmp_path, timeout_s=0.05) as journal:
        board = journal.start_board("a", "a", holes=1)
        other = sqlite3.connect(journal.path, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StorageError, match="kept the journal busy for 0.05 s"):
            journal.record(board, done(1))
        other.execute("ROLLBACK")
        other.close()
        journal.record(board, done(1))


def test_a_newer_journal_is_left_alone(tmp_path):
    with Journal.open(tmp_path) as journal:
        path = journal.path
    with sqlite3.connect(path) as db:
        db.execute("INSERT INTO migrations VALUES (99, 0)")
    db.close()
    before = path.read_bytes()
    with pytest.raises(StorageError, match="a newer drillaid wrote this journal"):
        Journal.open(tmp_path)
    assert path.read_bytes() == before


def _journal_of_version(path: Path, version: int) -> None:
    """As the program of that time left it, with one board half drilled."""
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE migrations (version INTEGER PRIMARY KEY, at REAL NOT NULL)")
        for number, script in enumerate(store.MIGRATIONS[:version], 1):
            db.executescript(script)
            db.execute("INSERT INTO migrations VALUES (?, 0)", (number,))
        db.execute("INSERT INTO boards VALUES (7, 1.0, 'old', 'a', 3, '{}')")
        db.execute("INSERT INTO events VALUES (1, 7, 2.0, 'hole_done', 2, '{\"part\": 1}')")
        db.execute("INSERT INTO pictures VALUES (1, 7, 2.0, 'before', 'jpg', x'ffd8')")
    db.close()


@pytest.mark.parametrize("version", range(1, len(store.MIGRATIONS) + 1))
def test_a_journal_of_every_earlier_version_is_brought_up_to_date(tmp_path, version):
    path = tmp_path / "journal.sqlite3"
    _journal_of_version(path, version)
    for _ in range(2):
        with Journal.open(tmp_path) as journal:
            (board,) = journal.boards()
            assert (board.id, board.done, board.last_at) == (7, 1, 2.0)
            assert journal.picture(1) == b"\xff\xd8"
            number = journal.keep_inspection(7, {"holes": []}, b"jpeg")
            look = journal.inspections(7)[-1]
            assert (look.id, look.data, journal.picture(look.picture)) == (
                number, {"holes": []}, b"jpeg"
            )  # fmt: skip
            versions = [row[0] for row in journal._store.rows("SELECT version FROM migrations")]
            assert versions == list(range(1, len(store.MIGRATIONS) + 1))


def test_a_migration_that_fails_leaves_the_journal_as_it_was(tmp_path, monkeypatch):
    with Journal.open(tmp_path) as journal:
        board = journal.start_board("old", "a", holes=1)
    sound = store.MIGRATIONS
    monkeypatch.setattr(
        store, "MIGRATIONS", (*sound, "CREATE TABLE half (a INTEGER); ALTER TABLE gone RENAME TO b")
    )
    with pytest.raises(StorageError):
        Journal.open(tmp_path)
    monkeypatch.setattr(store, "MIGRATIONS", sound)
    with Journal.open(tmp_path) as journal:
        assert journal.board(board).design_name == "old"
        assert journal._store.rows("SELECT 1 FROM sqlite_master WHERE name = 'half'") == []


def _spoil_the_start(path: Path) -> None:
    path.write_bytes(b"this is no database" * 400)


def _spoil_the_middle(path: Path) -> None:
    data = bytearray(path.read_bytes())
    data[4096:] = bytes(b ^ 0x5A for b in data[4096:])
    path.write_bytes(data)


def _cut_short(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:6000])


@pytest.mark.parametrize("spoil", [_spoil_the_start, _spoil_the_middle, _cut_short])
def test_a_damaged_journal_is_moved_aside_and_told(tmp_path, spoil):
    with Journal.open(tmp_path) as journal:
        path = journal.path
        board = journal.start_board("a", "a", holes=300)
        journal.record(board, *[done(n) for n in range(1, 300)])
    spoil(path)
    spoilt = path.read_bytes()
    with Journal.open(tmp_path) as journal:
        (kept,) = tmp_path.glob("journal.damaged-*.sqlite3")
        assert kept.read_bytes() == spoilt
        assert str(kept) in journal.notice and "a new one begun" in journal.notice
        assert journal.boards() == []
        journal.start_board("b", "b", holes=1)
    with Journal.open(tmp_path) as journal:
        assert journal.notice is None and len(journal.boards()) == 1


@pytest.mark.skipif(os.name == "nt", reason="an open file cannot be deleted there")
def test_a_journal_deleted_while_open_is_noticed(journal):
    board = journal.start_board("a", "a", holes=1)
    journal.path.unlink()
    with pytest.raises(StorageError, match="moved or deleted while it was open"):
        journal.record(board, done(1))


def test_a_closed_journal_says_so(journal):
    board = journal.start_board("a", "a", holes=1)
    journal.close()
    journal.close()
    for ask in (lambda: journal.record(board, done(1)), journal.boards):
        with pytest.raises(StorageError, match="closed"):
            ask()


# More than one at a time


def test_threads_may_share_one_journal(journal):
    board = journal.start_board("a", "a", holes=100)

    def work(first: int) -> None:
        for hole in range(first, first + 25):
            journal.record(board, done(hole))

    threads = [threading.Thread(target=work, args=(first,)) for first in (1, 26, 51, 76)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    assert journal.board(board).done == 100


def kill_after(child: subprocess.Popen, lines: int) -> tuple[int, set[int]]:
    """The board and the holes the program said were done."""
    said = [child.stdout.readline() for _ in range(lines)]
    child.kill()
    said += child.stdout.readlines()
    words = [line.split() for line in said if line.endswith("\n")]
    assert all(len(two) == 2 for two in words), "".join(said)
    assert {word for word, _ in words[1:]} <= {"done"}, said
    return int(words[0][1]), {int(number) for _, number in words[1:]}


def test_killed_at_any_moment_no_confirmed_hole_is_lost(tmp_path):
    """Kills between one commit and the next, two programs on one file; what was said
    to be done is done. This tests the order of commit and word; that a commit
    outlasts a power cut rests on SQLite's synchronous=FULL and the disk."""
    path = tmp_path / "journal.sqlite3"
    rng = random.Random(5)
    confirmed: dict[int, set[int]] = {}
    for _ in range(13):
        with (
            program("confirm_until_killed.py", str(path), "1") as one,
            program("confirm_until_killed.py", str(path), "100001") as other,
        ):
            for child in (one, other):
                board, holes = kill_after(child, 2 + rng.randrange(25))
                confirmed[board] = holes
    assert len(confirmed) == 26
    assert sum(map(len, confirmed.values())) > 200
    with Journal.open(path) as journal:
        assert journal.notice is None
        for board, holes in confirmed.items():
            recorded = {e.hole for e in journal.events(board)}
            assert holes <= recorded
            assert len(recorded - holes) <= 1  # the one recorded but not yet said
