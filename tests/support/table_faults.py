"""What can go wrong with a table, its port, its camera, its board and its person: one by one.

Each fault is put in once, at a moment of the job; `expect` are the types of error, or the
words, with which the job may end (None: it must go on to the end).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from support.table_bench import TableBench

from drillaid.errors import StorageError
from drillaid.guidance import events as ev
from drillaid.table import job as j

FINISHES = ("finished",)


@dataclass(frozen=True)
class Fault:
    """inject: called once with the bench; ends: reasons with which the job may end; words:
    one of these stands in its message then."""

    name: str
    inject: Callable[[TableBench], None]
    ends: tuple[str, ...]
    words: tuple[str, ...] = ()

    def __str__(self) -> str:
        return self.name


def _reply(change, times: int = 10**9):
    """Changes the next `times` replies for which change(text) is not the text itself."""

    def inject(bench: TableBench) -> None:
        left = [times]

        def changed(text: str):
            new = change(text)
            if left[0] <= 0 or new == text:
                return text
            left[0] -= 1
            return new

        bench.table.replies.change = changed

    return inject


def _ok(new):
    return lambda text: new if text.startswith("ok") else text


def _where(new):
    return lambda text: new(text) if text.startswith("is ") else text


def _set(path: str, value):
    def inject(bench: TableBench) -> None:
        *owners, name = path.split(".")
        owner = bench
        for part in owners:
            owner = getattr(owner, part)
        setattr(owner, name, value)

    return inject


def _say(text):
    return lambda bench: bench.table.say(text)


def _axis(axis: int):
    return lambda bench: bench.table.axes.stuck.add(axis)


def _lose(dx: float, dy: float):
    def inject(bench: TableBench) -> None:
        bench.table.axes.lost += [dx, dy, 0.0]

    return inject


def _push(dx: float, dy: float):
    def inject(bench: TableBench) -> None:
        bench.pushed = bench.pushed + [dx, dy]

    return inject


def _act(action):
    return lambda bench: bench.job.act(action)


def _disk(bench: TableBench) -> None:
    def full(*events):
        raise StorageError("journal: the disk is full.")

    bench.job._record = full


def _nothing_refused(word: str):
    """From now on lines with this word are refused."""

    def inject(bench: TableBench) -> None:
        tongue, unpack = bench.table.tongue, bench.table.tongue.unpack

        def refusing(line: str):
            from drillaid.simulation.table_words import NotUnderstood

            number, text = unpack(line)
            if text.startswith(word):
                raise NotUnderstood("unknown word")
            return number, text

        tongue.unpack = refusing

    return inject


def _deaf(word: str):
    """From now on lines with this word are swallowed: no motion, no answer."""

    def inject(bench: TableBench) -> None:
        obey = bench.table._obey

        def half_deaf(line: str) -> None:
            if word not in line:
                obey(line)

        bench.table._obey = half_deaf

    return inject


def _lies(bench: TableBench) -> None:
    """Says ok to motions and makes none."""
    bench.table._move = lambda motion, values: None


def _forgets(bench: TableBench) -> None:
    """Begins anew, counts from zero where it stands, and takes motions without homing."""
    table = bench.table
    table.restart()
    table.homed = True
    table.axes.lost = table.axes.lost - table.axes.commanded
    table.axes.commanded = np.zeros(3)


def _shift_places(text: str) -> str:
    words = text.split()
    words[3] = f"{float(words[3]) + 0.5:.3f}"
    return " ".join(words)


def _garble_middle(text: str) -> bytes:
    return text[:2].encode() + b"\xf7\x81" + text[3:].encode() + b"\r\n"


def _then(*injections):
    def inject(bench: TableBench) -> None:
        for one in injections:
            one(bench)

    return inject


PORT, TIMEOUT, GARBLED = "PortLost", "PortTimeout", "Garbled"
ALARM, REFUSED, AGAIN = "Alarm", "LineRefused", "ControllerRestarted"
SLIPPED = "BoardSlipped"
ELSEWHERE, LOST, PLACE = "NotWhereSent", "BoardLost", "CannotPlace"
CAMERA, NO_PICTURE = "CameraLost", "CameraTimeout"

FAULTS = (
    # the port
    Fault("cable out", _set("wire.gone", "unplugged"), (PORT,), ("is gone",)),
    Fault("port takes no bytes", _set("wire.blocked", True), (TIMEOUT,), ("took nothing",)),
    Fault("silence", _set("table.replies.silent", True), (TIMEOUT,)),
    Fault("controller dead", _set("table.dead", True), (TIMEOUT,)),
    Fault("slow answers", _set("table.replies.delay_s", 0.3), FINISHES),
    Fault("answers too slow", _set("table.replies.delay_s", 5.0), (TIMEOUT, GARBLED)),
    Fault("answers in pieces", _set("table.replies.split", True), FINISHES),
    Fault("pieces too far apart", _then(_set("table.replies.split", True),
          _set("table.replies.gap_s", 1.5)), (TIMEOUT, GARBLED)),
    Fault("bytes without an end", _reply(lambda t: b"x" * 40), (TIMEOUT, GARBLED)),
    Fault("a flood", _reply(lambda t: b"x" * 4000 + b"\n", 1), (GARBLED,)),
    # what it says
    Fault("one byte wrong in ok", _reply(_ok("pk"), 1), (GARBLED,)),
    Fault("one byte wrong in the status", _reply(_where(lambda t: "it" + t[2:]), 1), (GARBLED,)),
    Fault("other baud rate", _reply(_garble_middle), (GARBLED,)),
    Fault("other encoding", _reply(lambda t: t.encode("utf-16") + b"\n"), (GARBLED,)),
    Fault("noise between lines", _say(b"\x80\x81\xfe\r\n"), (GARBLED,)),
    Fault("a strange line", _say("hello there"), (GARBLED,)),
    Fault("NUL bytes", _say(b"\x00\x00\x00\r\n"), (GARBLED,)),
    Fault("ok twice", _reply(_ok(b"ok\r\nok\r\n"), 1), (GARBLED,)),
    Fault("ok from nowhere", _say("ok"), (GARBLED,)),
    Fault("ok lost", _reply(_ok(None), 1), (TIMEOUT,)),
    Fault("every ok lost", _reply(_ok(None)), (TIMEOUT,)),
    Fault("status lost", _reply(_where(lambda t: None), 1), (TIMEOUT,)),
    Fault("half a status", _reply(_where(lambda t: t[: len(t) // 2]), 1), (GARBLED,)),
    Fault("status without numbers", _reply(_where(lambda t: "is resting at a b c"), 1), (GARBLED,)),
    Fault("status NaN", _reply(_where(lambda t: "is resting at nan 0 0"), 1), (GARBLED,)),
    Fault("unknown state", _reply(_where(lambda t: t.replace("rest", "nest")), 1), (GARBLED,)),
    Fault("says another place", _reply(_where(_shift_places)), (ELSEWHERE,)),
    Fault("for ever moving", _reply(_where(lambda t: t.replace("resting", "moving"))),
          (TIMEOUT, ELSEWHERE)),
    Fault("held by its own button", _reply(_where(lambda t: t.replace("resting", "held"))),
          (ALARM,), ("by itself",)),
    Fault("error to a move", _nothing_refused("G0"), (REFUSED,)),
    Fault("error to a feed", _nothing_refused("G1"), (REFUSED, *FINISHES)),
    Fault("error to everything", _nothing_refused(""), (REFUSED,)),
    Fault("error nobody asked for", _say("error:3"), (REFUSED,)),
    Fault("spindle on is refused", _nothing_refused("M3"), (REFUSED, *FINISHES)),
    Fault("spindle off is refused", _nothing_refused("M5"), (REFUSED, *FINISHES)),
    # alarms and restarts
    Fault("limit switch", lambda b: b.table.raise_alarm("limit switch"), (ALARM,),
          ("limit switch",)),
    Fault("alarm told only by the status", _then(_reply(lambda t: None if "alarm" in t else t),
          lambda b: b.table.raise_alarm("x")), (ALARM, REFUSED, TIMEOUT)),
    Fault("brown-out", lambda b: b.table.restart(), (AGAIN, REFUSED), ("began anew",)),
    Fault("brown-out without a greeting", _then(_reply(lambda t: None if "ready" in t else t),
          lambda b: b.table.restart()), (REFUSED, ELSEWHERE, TIMEOUT, ALARM)),
    Fault("two brown-outs", _then(lambda b: b.table.restart(), lambda b: b.table.restart()),
          (AGAIN, REFUSED)),
    Fault("brown-out that forgets its place", _forgets, (AGAIN, REFUSED, ELSEWHERE)),
    Fault("silent brown-out that forgets its place", _then(_reply(lambda t: None if "ready" in t
          else t), lambda b: _forgets(b)), (REFUSED, ELSEWHERE, TIMEOUT, ALARM)),
    Fault("hold button and reset", lambda b: b.table.receive(b"\x13\x03"), (AGAIN,)),
    Fault("someone else holds it", lambda b: b.table.receive(b"\x13"), (ALARM, TIMEOUT, ELSEWHERE,
          *FINISHES)),
    # the table
    Fault("x motor stuck", _axis(0), (LOST, PLACE)),
    Fault("y motor stuck", _axis(1), (LOST, PLACE)),
    Fault("a few steps lost", _lose(0.15, -0.1), (SLIPPED, *FINISHES)),
    Fault("many steps lost", _lose(6.0, 0.0), (LOST, SLIPPED, *FINISHES)),
    Fault("swallows rapid moves", _deaf("G0 "), (TIMEOUT,)),
    Fault("swallows feed moves", _deaf("G1 "), (TIMEOUT, *FINISHES)),
    Fault("says ok and does not move", _lies, (ELSEWHERE,)),
    Fault("swallows the spindle", _deaf("M3"), (TIMEOUT, *FINISHES)),
    # the camera
    Fault("camera unplugged", _set("camera.lost", True), (CAMERA,), ("plug it in",)),
    Fault("camera silent", _set("camera.stalled", True), (NO_PICTURE,)),
    Fault("camera frozen", _set("camera.frozen", True), (NO_PICTURE,), ("same picture",)),
    # the board
    Fault("board taken away", _set("board_gone", True), (LOST,), ("not found",)),
    Fault("board pushed a little", _push(0.2, 0.1), (SLIPPED, *FINISHES)),
    Fault("board pushed far", _push(7.0, 3.0), (LOST, SLIPPED, *FINISHES)),
    Fault("place not known well", _set("finder.error_mm", 0.2), (PLACE,), ("vouch",)),
    Fault("pictures too noisy", _set("finder.noise_mm", 0.5), (PLACE, LOST, SLIPPED)),
    # the rest
    Fault("disk full", _disk, ("StorageError",), ("disk is full",)),
    Fault("the person stops", _act(j.Stop()), ("stopped",)),
    Fault("the person pauses and goes on", _then(_act(ev.Pause()), _act(ev.Resume())), FINISHES),
    Fault("the person skips", _act(ev.Skip()), FINISHES),
)  # fmt: skip


@dataclass(frozen=True)
class Moment:
    """reached: whether it is time to put the fault in."""

    name: str
    reached: Callable[[TableBench], bool]

    def __str__(self) -> str:
        return self.name


def _moving(axis_is_xy: bool):
    def reached(bench: TableBench) -> bool:
        segment = bench.table._segment
        if segment is None or bench.job.ledger is None:
            return False
        way = np.abs(segment.end - segment.start)
        return bool(way[:2].max() > 1.0) if axis_is_xy else segment.end[2] < -20.5

    return reached


MOMENTS = (
    Moment("homing", lambda b: b.job.view.state == j.HOMING and b.clock.now() > 1.0),
    Moment("on the way", _moving(True)),
    Moment("looking", lambda b: b.job.view.state == j.LOOKING or len(b.camera.times) == 3),
    Moment("bit in the board", _moving(False)),
    Moment("at the second bit change", lambda b: b.job.view.state == j.CHANGE_BIT
           and len(b.bores) >= 3),
)  # fmt: skip


def ran(fault: Fault, moment: Moment, **kwargs) -> TableBench:
    """A job with that fault at that moment; the bench afterwards, with `put_in` telling
    whether the moment came."""
    bench = TableBench(**kwargs)
    bench.put_in = False

    def before_step(b: TableBench) -> None:
        if not b.put_in and moment.reached(b):
            b.put_in = True
            fault.inject(b)

    bench.run(before_step=before_step, steps=20_000)
    return bench
