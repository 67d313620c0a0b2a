"""Commands and replies by scripted dialogues that fail on anything left over."""

from __future__ import annotations

import numpy as np
import pytest
from support.scripted_wire import ScriptedWire
from support.table_bench import QUICK, setup_for

from drillaid.errors import (
    Alarm,
    ControllerRestarted,
    Garbled,
    LineRefused,
    NotWhereSent,
    OutOfReach,
    PortLost,
    PortTimeout,
    UnsafeNow,
)
from drillaid.table.controller import Controller, finish
from drillaid.table.dialect_file import load_dialect
from drillaid.table.link import Link

ASK = b"\x05"


def resting(x=0.0, y=0.0, z=0.0) -> bytes:
    return b"is resting at %.3f %.3f %.3f\r\n" % (x, y, z)


def controller(*script, dialect="line-ack", homed=True, **setup) -> tuple[Controller, ScriptedWire]:
    wire = ScriptedWire(*script)
    c = Controller(Link(wire), load_dialect(dialect), setup_for(QUICK, **setup))
    if homed:
        c.homed, c.position_mm, c.state, c.may_move = True, (0.0, 0.0, 0.0), "resting", False
    return c, wire


def test_connecting_greets_asks_and_sets_the_modes():
    c, wire = controller(
        (ASK, [resting()]), (b"G21\n", [b"ok\n"]), (b"G90\n", [b"ok\n"]), (b"G94\n", [b"ok\n"]),
        (b"G54\n", [b"ok\n"]), (b"M5\n", [b"ok\n"]), (b"M5\n", [b"ok\n"]), homed=False,
    )  # fmt: skip
    wire.answers = [b"ready, table contr", b"oller 7\n"]
    finish(c.connect())
    wire.done()
    assert c.spinning is False and not c.homed


def test_a_controller_that_does_not_greet_is_asked_after_a_while():
    c, wire = controller((ASK, [PortLost("enough")]), homed=False)
    with pytest.raises(PortLost):
        finish(c.connect())
    assert wire.time_s >= 3.0


def test_a_move_is_over_when_it_rests_where_it_was_sent():
    c, wire = controller(
        (b"G0 X1.000 Y2.000\n", [b"ok\n"]),
        (ASK, [b"is moving at 0.5 1 0\n"]),
        (ASK, [resting(1, 2)]),
    )
    finish(c.move(x=1.0, y=2.0))
    wire.done()
    assert c.position_mm == (1.0, 2.0, 0.0) and not c.may_move


def test_numbers_and_checksums_go_along_and_are_held_against_the_answer():
    def line(n: int, text: str) -> bytes:
        body = b"N%d %s" % (n, text.encode())
        return body + b"&%02X\n" % (sum(body) % 256)

    c, wire = controller(
        (line(1, "G1 Z-1.000 F120"), [b"ok N1\n"]),
        (line(2, "M130"), [b"X0 Y0 Z-1 REST\n", b"ok N2\n"]),
        dialect="numbered-ack",
    )
    finish(c.move(z=-1.0, feed_mm_min=120))
    wire.done()


def test_the_answer_to_another_line_is_garbled():
    c, wire = controller((b"N1 M5&%02X\n" % (sum(b"N1 M5") % 256), [b"ok N7\n"]),
                         dialect="numbered-ack")  # fmt: skip
    with pytest.raises(Garbled, match="line 7, sent was line 1"):
        finish(c.command("M5"))
    wire.done()


@pytest.mark.parametrize(
    ("answers", "error", "told"),
    [
        ([b"error:9\n"], LineRefused, r"refused 'G0 X1.000' \(9\)"),
        ([b"alarm:limit\n"], Alarm, "limit"),
        ([b"ready, table controller\n"], ControllerRestarted, "began anew"),
        ([b"o\xffk\n"], Garbled, "baud rate"),
        ([b"what\n"], Garbled, "'what'"),
        ([b"x" * 300 + b"\n"], Garbled, "means nothing"),
        ([], PortTimeout, "did not acknowledge"),
        ([b"ok"], PortTimeout, "did not acknowledge"),
        ([PortLost("gone")], PortLost, "gone"),
    ],
)
def test_every_bad_answer_has_its_own_type(answers, error, told):
    c, wire = controller((b"G0 X1.000\n", answers))
    with pytest.raises(error, match=told):
        finish(c.move(x=1.0))
    wire.done()
    assert c.may_move


@pytest.mark.parametrize(
    ("status", "error"),
    [
        (b"is stopped at 0 0 0\n", Alarm),
        (b"is held at 0 0 0\n", Alarm),
        (b"ok\n", Garbled),
        (b"", PortTimeout),
        (b"is asleep at 0 0 0\n", Garbled),
        (b"is resting at inf 0 0\n", Garbled),
    ],
)
def test_bad_answers_to_where_are_you(status, error):
    c, wire = controller((b"G0 X1.000\n", [b"ok\n"]), (ASK, [status] if status else []))
    with pytest.raises(error):
        finish(c.move(x=1.0))
    wire.done()


def test_rest_elsewhere_is_told_with_both_places():
    asks = [(ASK, [resting(0.9)])] * 40
    c, _ = controller((b"G0 X1.000\n", [b"ok\n"]), *asks)
    with pytest.raises(NotWhereSent, match=r"\(0\.900, .*\(1\.000,"):
        finish(c.move(x=1.0))


def test_a_table_that_never_comes_to_rest_is_a_timeout():
    asks = [(ASK, [b"is moving at 0 0 0\n"])] * 2000
    c, wire = controller((b"G0 X1.000\n", [b"ok\n"]), *asks)
    with pytest.raises(PortTimeout, match="come to rest"):
        finish(c.move(x=1.0))
    assert wire.time_s < 10


def test_dialects_that_answer_at_the_end_of_the_move_are_waited_for():
    c, wire = controller((b"G0 X90.000\n", [b""] * 20 + [b"ok\n"]), (ASK, [resting(90)]))
    object.__setattr__(c.dialect, "acknowledged_when", "finished")
    finish(c.move(x=90.0))
    wire.done()


@pytest.mark.parametrize(
    "where", [{"x": -0.01}, {"x": 100.01}, {"y": 80.5}, {"z": 0.1}, {"z": -31.0}, {"x": np.nan}]
)
def test_soft_limits_are_checked_before_sending(where):
    c, wire = controller()
    with pytest.raises(OutOfReach):
        finish(c.move(**where))
    wire.done()


def test_nothing_moves_before_homing():
    c, wire = controller(homed=False)
    with pytest.raises(UnsafeNow):
        finish(c.move(x=1.0))


def test_one_line_is_outstanding_at_most():
    c, wire = controller((b"M5\n", []))
    waiting = c.command("M5")
    next(waiting)
    with pytest.raises(UnsafeNow, match="still owes an answer to 'M5'"):
        finish(c.command("M3"))
    wire.done()


def test_an_error_nobody_asked_for_and_an_alarm_while_waiting():
    c, wire = controller()
    wire.answers = [b"error:3\n"]
    with pytest.raises(LineRefused, match="nobody asked"):
        finish(c.wait(1.0))
    wire.answers = [b"note: all is well\n", b"alarm:probe\n"]
    with pytest.raises(Alarm, match="probe"):
        finish(c.wait(1.0))
    assert not c.homed and c.position_mm is None


def test_a_table_that_never_falls_silent_is_no_table_to_send_to():
    class Babbler(ScriptedWire):
        def read(self, timeout_s: float) -> bytes:
            return resting()

    wire = Babbler()
    c = Controller(Link(wire), load_dialect("line-ack"), setup_for(QUICK))
    with pytest.raises(Garbled, match="does not stop talking"):
        finish(c.command("M5"))
    wire.done()
