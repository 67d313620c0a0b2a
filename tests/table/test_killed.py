"""A program that is killed leaves the table without a next command."""

from __future__ import annotations

import time

from support.children import program

from drillaid.simulation.table import SimulatedTable
from drillaid.simulation.table_motion import Mechanics
from drillaid.simulation.table_port import TableServer

SLOW = Mechanics(speed_mm_s=(40.0, 40.0, 40.0), acceleration_mm_s2=(400.0, 400.0, 400.0))


def test_killed_while_it_moves():
    with TableServer(lambda now: SimulatedTable(now, mechanics=SLOW), faster=4.0) as server:
        with program("move_until_killed.py", server.url) as child:
            end = time.monotonic() + 60
            while time.monotonic() < end and _moves(server) < 4:
                time.sleep(0.01)
            child.kill()
            child.wait(10)
        time.sleep(0.1)  # what was in the socket when it died
        moved = _moves(server)
        assert moved >= 4
        time.sleep(1.0)  # four seconds of the table's
        assert _moves(server) == moved
        with server.lock:
            server.table.catch_up()
            assert server.table.state == "resting"
            assert not [h for h in server.table.log if h.what == "overrun"]


def _moves(server: TableServer) -> int:
    with server.lock:
        return sum(h.what == "motion" for h in server.table.log)
