"""Moves a table to and fro until this process is killed; for tests/table/test_killed.py."""

from __future__ import annotations

import sys
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[k]) for k in (1, 2)]

from support.table_bench import QUICK, setup_for  # noqa: E402

from drillaid.table.controller import Controller, finish  # noqa: E402
from drillaid.table.dialect_file import load_dialect  # noqa: E402
from drillaid.table.link import Link  # noqa: E402
from drillaid.table.machine import Machine  # noqa: E402

with Link.open(sys.argv[1]) as link:
    controller = Controller(link, load_dialect("line-ack"), setup_for(QUICK))
    machine = Machine(controller, time.monotonic, needs_board=False)
    finish(machine.connect())
    finish(machine.home())
    while True:
        finish(machine.travel(90.0, 70.0))
        finish(machine.travel(5.0, 5.0))
