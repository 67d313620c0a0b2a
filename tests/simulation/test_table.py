"""The simulated table by itself: motion, words, replies; and its server through pyserial."""

from __future__ import annotations

import math
import os
import socket
import time

import numpy as np
import pytest

from drillaid.simulation.table import SimulatedTable
from drillaid.simulation.table_motion import Axes, Mechanics, Segment
from drillaid.simulation.table_port import SimulatedClock, SimulatedWire, TableServer
from drillaid.simulation.table_words import NotUnderstood, NumberedTongue, words_of
from drillaid.table.controller import Controller, finish
from drillaid.table.dialect_file import load_dialect
from drillaid.table.link import Link
from drillaid.table.machine import Machine

POSIX = pytest.mark.skipif(os.name == "nt", reason="pseudo-terminals are POSIX")


def said(table: SimulatedTable, clock: SimulatedClock, data: bytes, wait_s: float = 0.1) -> bytes:
    table.receive(data)
    clock.advance(wait_s)
    return table.take()


def homed(**kwargs) -> tuple[SimulatedTable, SimulatedClock]:
    clock = SimulatedClock()
    table = SimulatedTable(clock.now, **kwargs)
    table.plug_in()
    clock.advance(1)
    assert b"ready" in table.take()
    assert said(table, clock, b"HOME\n", 20) == b"ok\r\n"
    return table, clock


# Constant acceleration: s = a t^2 / 2 up to v / a, then s = v t.
def test_motion_is_a_trapezoid():
    s = Segment(np.zeros(3), np.array([100.0, 0, 0]), 0.0, speed=20.0, acceleration=100.0)
    assert s.lasts_s == pytest.approx(100 / 20 + 20 / 100)
    assert s.at(0.1)[0] == pytest.approx(0.5)
    assert s.at(0.2 + 1)[0] == pytest.approx(2 + 20)
    assert s.at(99)[0] == 100.0
    stop = s.braked(1.2)
    assert stop.end[0] == pytest.approx(22 + 20**2 / 200)


def test_short_ways_never_reach_full_speed():
    s = Segment(np.zeros(3), np.array([1.0, 0, 0]), 0.0, speed=20.0, acceleration=100.0)
    assert s.lasts_s == pytest.approx(2 * math.sqrt(1 / 100))
    assert s.at(s.lasts_s / 2)[0] == pytest.approx(0.5)


def test_backlash_is_lost_on_turning_back_and_only_then():
    axes = Axes(Mechanics(backlash_mm=(0.15, 0.1)))
    axes.follow(np.array([10.0, 10.0, 0]))
    axes.follow(np.array([20.0, 20.0, 0]))
    up = axes.bench_mm
    axes.follow(np.array([25.0, 25.0, 0]))
    axes.follow(np.array([20.0, 20.0, 0]))
    assert axes.bench_mm - up == pytest.approx([0.15, 0.1])
    axes.follow(np.array([15.0, 15.0, 0]))
    axes.follow(np.array([20.0, 20.0, 0]))
    assert axes.bench_mm == pytest.approx(up)


def test_skew_and_scale():
    m = Mechanics(skew_deg=0.5, scale=(1.01, 0.99)).matrix
    x, y = m.T
    assert np.hypot(*x) == pytest.approx(1.01) and np.hypot(*y) == pytest.approx(0.99)
    angle = math.degrees(math.acos(x @ y / np.hypot(*x) / np.hypot(*y)))
    assert angle == pytest.approx(90.5)


def test_lost_steps_stay_lost_until_home():
    axes = Axes(Mechanics(lost_chance=1.0, lost_mm=0.06, home_sigma_mm=0.0))
    for _ in range(50):
        axes.maybe_lose_steps(np.array([1.0, 1.0, 0]))
    assert (axes.lost[:2] > 0.2).all()
    axes.find_home()
    assert (axes.lost == 0).all()


def test_words_of_a_line():
    assert words_of("G1 x1.5 Y-.5F200") == [("G", 1), ("X", 1.5), ("Y", -0.5), ("F", 200)]
    with pytest.raises(NotUnderstood):
        words_of("G1 X=3")


@pytest.mark.parametrize(
    ("line", "answer"),
    [
        (b"G0 X5\n", b"ok\r\n"),
        (b"G1 X5\n", b"error:1\r\n"),  # a feed is missing
        (b"G1 X5 F100\n", b"ok\r\n"),
        (b"X5\n", b"error:1\r\n"),
        (b"G99 Q\n", b"error:3\r\n"),
        (b"M3 S100\n", b"ok\r\n"),
        (b"G0 X500\n", b"alarm:soft limit\r\n"),
        (b"G20 G0 X1\n", b"ok\r\n"),
    ],
)
def test_answers(line, answer):
    table, clock = homed()
    assert said(table, clock, line) == answer


def test_nothing_moves_unhomed_or_in_alarm():
    clock = SimulatedClock()
    table = SimulatedTable(clock.now)
    assert said(table, clock, b"G0 X5\n") == b"error:2\r\n"
    table, clock = homed()
    table.raise_alarm("limit")
    assert b"alarm:limit" in said(table, clock, b"")
    assert said(table, clock, b"G0 X5\n") == b"error:9\r\n"
    assert said(table, clock, b"HOME\n", 20) == b"ok\r\n"
    assert said(table, clock, b"G0 X5\n") == b"ok\r\n"


def test_inches_are_obeyed():
    table, clock = homed()
    said(table, clock, b"G20 G0 X1\n", 20)
    assert table.axes.commanded[0] == pytest.approx(25.4, abs=0.005)


def test_hold_stops_on_the_way_and_go_on_finishes_it():
    table, clock = homed()
    said(table, clock, b"G0 X50\n", 1.0)
    said(table, clock, b"\x13", 5.0)
    at = table.axes.commanded[0]
    assert 10 < at < 45 and table.state == "held"
    said(table, clock, b"\x11", 10.0)
    assert table.axes.commanded[0] == pytest.approx(50) and table.state == "resting"


def test_reset_on_the_way_loses_the_place():
    table, clock = homed()
    said(table, clock, b"M3 S1\nG0 X50\n", 1.0)
    assert b"ready" in said(table, clock, b"\x03")
    assert not table.homed and not table.spinning


def test_two_motion_lines_at_once_are_noted():
    table, clock = homed()
    said(table, clock, b"G0 X50\nG0 X0\n")
    assert [h.what for h in table.log].count("overrun") == 1


def test_numbered_lines_are_checked():
    tongue = NumberedTongue()
    good = b"N1 G0 X1"
    assert tongue.unpack(f"N1 G0 X1&{sum(good) % 256:02X}") == (1, "G0 X1")
    for bad in ("N2 G0 X1&00", "G0 X1", f"N1 G0 X1&{sum(good) % 256:02X}"):
        with pytest.raises(NotUnderstood):
            tongue.unpack(bad)


def test_a_bore_is_made_where_the_turning_bit_goes_through_once():
    bores = []
    table, clock = homed(on_drill=lambda at, t: bores.append(at))
    said(table, clock, b"G0 X10 Y20\n", 10)
    said(table, clock, b"G1 Z-22 F300\n", 20)
    assert bores == []  # it did not turn
    said(table, clock, b"G0 Z0\n", 10)
    said(table, clock, b"G0 X20\nM3 S1\n", 10)
    for line in (b"G1 Z-21 F300\n", b"G0 Z-19\n", b"G1 Z-22 F300\n", b"G0 Z0\n"):
        said(table, clock, line, 20)
    assert len(bores) == 1 and bores[0] == pytest.approx([20, 20], abs=0.05)


def test_waiting_at_the_wire_moves_the_clock():
    clock = SimulatedClock()
    wire = SimulatedWire(SimulatedTable(clock.now), clock)
    assert wire.read(1.0).startswith(b"ready")
    assert wire.read(3.0) == b"" and clock.now() == pytest.approx(3.05, abs=0.01)


@pytest.mark.parametrize("terminal", [False, pytest.param(True, marks=POSIX)])
def test_the_server_through_pyserial(terminal):
    from support.table_bench import QUICK, setup_for

    def make(now):
        return SimulatedTable(now, mechanics=QUICK)

    with TableServer(make, terminal=terminal, faster=20.0) as server:
        if terminal:
            greeted(server)  # whoever was there before; opening a port throws that away
        with Link.open(server.url) as link:
            if terminal:
                with server.lock:
                    server.table.plug_in()
            machine = Machine(
                Controller(link, load_dialect("line-ack"), setup_for(QUICK)), link.now,
                needs_board=False,
            )  # fmt: skip
            finish(machine.connect())
            finish(machine.home())
            finish(machine.travel(20.0, 30.0))
            with server.lock:
                assert server.table.axes.commanded[:2] == pytest.approx([20, 30])
            assert machine.make_safe().z_up


@pytest.mark.parametrize("terminal", [False, pytest.param(True, marks=POSIX)])
def test_a_program_that_never_reads_does_not_hold_the_server(terminal):
    """Buffers of port and socket are full after a while; closing must still end its thread."""
    with TableServer(SimulatedTable, terminal=terminal) as server:
        wire = (_terminal if terminal else _socket)(server.url)
        with wire:
            greeted(server)
            with server.lock:
                server.table.say("x" * 20_000_000)
            all_said(server)
            time.sleep(0.1)  # it has begun to write, and stands there if it can
            server.close()
            assert not server._thread.is_alive()


def greeted(server: TableServer) -> None:
    """The port is open on the other side, and the greeting has left."""
    end = time.monotonic() + 5.0
    while time.monotonic() < end and not server.table.log:
        time.sleep(0.001)
    all_said(server)


def all_said(server: TableServer) -> None:
    end = time.monotonic() + 5.0
    while time.monotonic() < end:
        with server.lock:
            if server.table.next_s() == math.inf:
                return
        time.sleep(0.001)


def _socket(url: str):
    host, port = url.removeprefix("socket://").split(":")
    return socket.create_connection((host, int(port)), timeout=5)


def _terminal(url: str):
    return open(os.open(url, os.O_RDWR | os.O_NOCTTY), "rb", buffering=0)
