"""A program to be killed: records holes as done, and says so only after each is recorded.

arguments: journal file, first hole number
"""

from __future__ import annotations

import sys
import time

from drillaid.guidance.events import Event
from drillaid.journal.journal import Journal

path, first = sys.argv[1], int(sys.argv[2])
journal = Journal.open(path)
board = journal.start_board("killed", "0", holes=1_000_000)
print(f"board {board}", flush=True)
for hole in range(first, first + 100_000):
    journal.record(board, Event(0.0, "hole_done", hole=hole, detail={"part": 1}))
    print(f"done {hole}", flush=True)
    time.sleep(0.004)  # two that never rest starve each other of the file
