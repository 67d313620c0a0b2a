"""`drillaid guide` killed (SIGKILL) at random moments: no hole that was shown as done is lost.

It is killed twice each time; with DRILLAID_SLOW in the environment two hundred times, over as many
boards as that takes, each gone on with by --resume (with `-o faulthandler_timeout=0`: it takes long).
"""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import time
from pathlib import Path

import pytest
from support.small_board import MM_PER_PX, SIZE, small_design

from drillaid.journal.journal import Journal, holes_now
from drillaid.rig.file import save_rig
from drillaid.simulation.export import write_fabrication_files
from drillaid.simulation.rigs import nominal_rig

ROOT = Path(__file__).resolve().parents[2]
DEADLINE_S = 90
SLOW = bool(os.environ.get("DRILLAID_SLOW"))
KILLS, LINES = (200, 160) if SLOW else (2, 100)


@pytest.fixture(scope="module")
def command(tmp_path_factory):
    """(words of the command without --resume, folder of the journal, file of events)"""
    folder = tmp_path_factory.mktemp("job")
    files = [str(p) for p in write_fabrication_files(small_design(), folder, "small")]
    save_rig(nominal_rig(*SIZE, MM_PER_PX, 0.05, 1.0, seed=4), folder / "rig.toml")
    words = [sys.executable, "-m", "drillaid", "guide", *files, "--headless", "--camera", "sim",
             "--rig", str(folder / "rig.toml"), "--data", str(folder / "data"),
             "--events", str(folder / "events.jsonl")]  # fmt: skip
    return words, folder / "data", folder / "events.jsonl"


def killed_after(words: list[str], events: Path, lines: int, rest_s: float) -> bool:
    """Lets it write so many lines of events, waits a little, kills it; False if it had finished.

    On a slow computer it may be killed before it has written anything: a moment like others.
    """
    events.unlink(missing_ok=True)
    said = events.with_suffix(".stderr")
    with said.open("wb") as stderr:
        program = subprocess.Popen(words, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=stderr)
    try:
        deadline = time.monotonic() + DEADLINE_S
        while program.poll() is None and time.monotonic() < deadline:
            if events.exists() and events.read_bytes().count(b"\n") >= lines:
                time.sleep(rest_s)
                break
            time.sleep(0.005)
        running = program.poll() is None
        program.kill()
    finally:
        program.wait(timeout=30)
    if not running:  # it ended by itself, and that must have been well
        assert program.returncode == 0, said.read_text(encoding="utf-8")
    return running


def shown_as_done(events: Path) -> set[int]:
    """By the lines that were whole when it was killed."""
    holes: set[int] = set()
    if not events.exists():
        return holes
    for line in events.read_text(encoding="utf-8").split("\n")[:-1]:
        event = json.loads(line)
        if event["event"] == "hole_done":
            holes.add(event["hole"])
        assert event["event"] != "undone"  # the simulated operator takes nothing back
    return holes


@pytest.mark.timeout(7200 if SLOW else 120)
def test_no_hole_that_was_shown_as_done_is_lost(command):
    words, data, events = command
    rng = random.Random(11)
    shown: set[int] = set()
    resuming = False
    total, tries, killed, boards = 0, 0, 0, 0
    while killed < KILLS:
        tries += 1
        assert tries <= 4 * KILLS  # it must be running when it is killed, most times
        now = [*words, "--resume"] if resuming else words
        running = killed_after(now, events, rng.randrange(3, LINES), rng.uniform(0, 0.1))
        shown |= shown_as_done(events)
        with Journal.open(data) as journal:
            assert journal.notice is None
            board = journal.boards()[0]
            recorded, _ = holes_now(journal.events(board.id))
        assert shown <= recorded, f"lost: {sorted(shown - recorded)}"
        assert len(recorded - shown) <= 1  # the one written down and not yet shown
        total += len(shown)
        killed, boards = killed + running, boards + board.finished
        resuming = not board.finished
        if not running:
            assert board.finished
        shown = set(recorded) if resuming else set()
    print(f"{killed} kills, {boards} boards finished, {total} holes counted again after them")
    assert total > 0 or not SLOW
