"""One controller: a line and its acknowledgement, a move and its end. Nothing is assumed done.

What takes time is a generator: it waits a little, yields, and can be left at any
yield, so that a window's timer or a loop may drive it (`finish`). One line is
outstanding at most, so a program that is killed leaves the table without a next
command. Soft limits are checked before every motion line.
"""

from __future__ import annotations

import math
from collections.abc import Generator
from typing import Any

import numpy as np

from drillaid.errors import (
    Alarm,
    ControllerRestarted,
    Garbled,
    LineRefused,
    NotWhereSent,
    PortTimeout,
    UnsafeNow,
)
from drillaid.table import dialect as d
from drillaid.table.dialect import Dialect, Reply
from drillaid.table.link import Link
from drillaid.table.setup import TableSetup

POLL_S = 0.05  # no wait is longer without a look at what else has come
NEAR_MM = 0.02  # between where it was sent and where it says it is: steps and rounding
KNOWN_S = 0.1  # a status older than this is asked for again before a motion
REST_S = 0.5  # a controller may rest for so long before it begins a move
BABBLE = 1000  # lines that may wait to be heard; more is a port that never falls silent
SLACK = 3.0  # a move may take so many times as long as planned …
SLACK_S = 3.0  # … and so much longer

Steps = Generator[None, None, Any]


def finish(steps: Steps):
    """Runs a generator of this package to its end; its result. For callers that may wait."""
    while True:
        try:
            next(steps)
        except StopIteration as stop:
            return stop.value


class Controller:
    """homed, spinning (None: not known), position_mm and state: as last heard or done."""

    def __init__(self, link: Link, dialect: Dialect, setup: TableSetup) -> None:
        self.link, self.dialect, self.setup = link, dialect, setup
        self.homed = False
        self.spinning: bool | None = None
        self.position_mm: tuple[float, float, float] | None = None
        self.state: str | None = None
        self.target_mm: tuple[float, ...] | None = None  # of the last move
        self.may_move = True  # until it was heard to rest, and while a motion line is under way
        self._number = 0
        self._waits_for: str | None = None
        self._greeting_due = False
        self._status_heard = False
        self._status_s = 0.0

    # --- conversations ------------------------------------------------------------

    def connect(self) -> Steps:
        """Waits for the greeting if there is one, asks for the status, sets the modes."""
        end = self.link.now() + self.dialect.greeting_s
        self._greeting_due = self.dialect.greeting is not None
        while self._greeting_due and self.link.now() < end:
            self._hear(POLL_S)
            yield
        self._greeting_due = False  # many greet only when their power comes on
        yield from self.status()
        yield from self._set_modes()

    def _set_modes(self) -> Steps:
        for line in self.dialect.begin:
            yield from self.command(line)
        if self.setup.switched:
            yield from self.spin(False)

    def command(self, text: str, *, deadline_s: float | None = None) -> Steps:
        """Sends one line and waits for its acknowledgement. LineRefused, PortTimeout, …"""
        self._send(text)
        limit = self.dialect.acknowledge_s if deadline_s is None else deadline_s
        end = self.link.now() + limit
        while self._waits_for is not None:
            left = end - self.link.now()
            if left <= 0:
                raise PortTimeout(f"The table did not acknowledge '{text}' within {limit:g} s.")
            self._hear(min(POLL_S, left))
            yield

    def status(self) -> Steps:
        """Asks where it stands; `state` and `position_mm` are new then."""
        self._status_heard = False
        if self.dialect.status_outside_lines:
            self.link.send(self.dialect.ask.encode("ascii"))
        else:
            self._send(self.dialect.ask)
        end = self.link.now() + self.dialect.status_s
        while not self._status_heard or (
            self._waits_for is not None and not self.dialect.status_outside_lines
        ):
            left = end - self.link.now()
            if left <= 0:
                raise PortTimeout(
                    f"The table did not say where it stands within {self.dialect.status_s:g} s."
                )
            self._hear(min(POLL_S, left))
            yield

    def home(self) -> Steps:
        """The homing cycle of the controller itself, which must raise Z first."""
        self.homed = False
        self.may_move = True
        yield from self.command(self.dialect.home, deadline_s=self.dialect.home_s)
        yield from self._rest(None, self.dialect.home_s)
        self.homed = True

    def move(
        self, x: float | None = None, y: float | None = None, z: float | None = None,
        *, feed_mm_min: float | None = None,
    ) -> Steps:  # fmt: skip
        """One straight move to its end; axes that are None stay. feed_mm_min: None for rapid."""
        if not self.homed or self.position_mm is None:
            raise UnsafeNow("The table has not been homed; nothing was sent.")
        self.setup.check(x, y, z)
        yield from self._still_there()
        target = tuple(
            here if there is None else float(self.dialect.number(there))
            for here, there in zip(self.position_mm, (x, y, z), strict=True)
        )
        lasts = self._lasts_s(target, feed_mm_min)
        word = self.dialect.rapid if feed_mm_min is None else self.dialect.feed
        text = self.dialect.move(word, x=x, y=y, z=z, feed=feed_mm_min)
        late = SLACK * lasts + SLACK_S
        at_end = self.dialect.acknowledged_when == "finished"
        self.may_move, self.target_mm = True, target
        yield from self.command(
            text, deadline_s=self.dialect.acknowledge_s + (late if at_end else 0.0)
        )
        yield from self._rest(target, late)

    def _still_there(self) -> Steps:
        """A controller that began anew without a word, or was moved by hand, counts from
        elsewhere: noticed before the next motion, not by it."""
        if self.link.now() - self._status_s <= KNOWN_S:
            return
        left = self.position_mm
        yield from self.status()
        if self.state == d.HELD:
            raise Alarm("The table holds by itself; see what stopped it.")
        if self.state != d.RESTING or not self._near(left):
            self.homed = False
            raise NotWhereSent(
                f"The table says that it is {self.state} at {_place(self.position_mm)} and was "
                f"left at {_place(left)} mm; home it."
            )

    def spin(self, on: bool) -> Steps:
        """The spindle's relay; known as done when the line is acknowledged."""
        self.spinning = None
        word = self.dialect.spindle_on if on else self.dialect.spindle_off
        yield from self.command(word.replace("{speed}", f"{self.setup.spindle_rpm:.0f}"))
        self.spinning = on

    def wait(self, seconds: float) -> Steps:
        """Lets time pass with open ears: an alarm is heard at once."""
        end = self.link.now() + seconds
        while (left := end - self.link.now()) > 0:
            self._hear(min(POLL_S, left))
            yield

    def _rest(self, target: tuple[float, float, float] | None, limit_s: float) -> Steps:
        """Until it rests, at the target if there is one."""
        end = self.link.now() + limit_s
        since: float | None = None
        while True:
            yield from self.status()
            now = self.link.now()
            if self.state == d.HELD:
                raise Alarm("The table holds by itself; see what stopped it.")
            if self.state == d.RESTING:
                if target is None or self._near(target):
                    self.may_move = False
                    return
                since = now if since is None else since
                if now - since > REST_S:
                    self.may_move = self.homed = False  # it may count from elsewhere now
                    raise NotWhereSent(
                        f"The table rests at {_place(self.position_mm)} and was sent to "
                        f"{_place(target)} mm: it was changed or switched meanwhile."
                    )
            else:
                since = None
            if now > end:
                raise PortTimeout(f"The table did not come to rest within {limit_s:.0f} s.")
            yield from self.wait(min(POLL_S, 0.02 if since is None else POLL_S))

    def _near(self, target: tuple[float, float, float]) -> bool:
        off = np.subtract(self.position_mm, target)
        if self.setup.lever:
            off = off[:2]
        return bool(np.abs(off).max() <= NEAR_MM)

    def _lasts_s(self, target: tuple[float, ...], feed_mm_min: float | None) -> float:
        way = np.subtract(target, self.position_mm)
        lasts = float(self.setup.pace.seconds(*way))
        if feed_mm_min is not None:
            lasts += 60 * float(np.linalg.norm(way)) / feed_mm_min
        return lasts

    # --- one line -----------------------------------------------------------------

    def _send(self, text: str) -> None:
        if self._waits_for is not None:
            raise UnsafeNow(
                f"'{text}' was not sent: the table still owes an answer to '{self._waits_for}'."
            )
        for _ in range(BABBLE):  # an alarm that has come meanwhile is heard before anything is sent
            if self._hear(0.0) is None:
                break
        else:
            raise Garbled(
                f"The table does not stop talking; '{text}' was not sent. See what else writes "
                "to its port, and whether it reports by itself."
            )
        self._number += 1
        data = self.dialect.line_bytes(text, self._number)
        self._waits_for = text
        self.link.send(data)

    def _hear(self, timeout_s: float) -> Reply | None:
        """One reply, if one comes, taken in; raises what it means if that is bad."""
        line = self.link.poll(timeout_s)
        if line is None:
            return None
        reply = self.dialect.read(line)
        match reply.kind:
            case d.STATUS:
                self._take_status(reply)
            case d.ACKNOWLEDGE:
                self._take_acknowledgement(reply)
            case d.ERROR:
                asked, self._waits_for = self._waits_for, None
                why = f" ({reply.reason})" if reply.reason else ""
                raise LineRefused(
                    f"The table refused '{asked}'{why}." if asked is not None
                    else f"The table reports an error nobody asked for: '{reply.text}'."
                )  # fmt: skip
            case d.ALARM:
                self.forget()
                raise Alarm(f"The table gave an alarm: {reply.reason or reply.text}.")
            case d.GREETING:
                self._take_greeting()
            case d.UNKNOWN:
                raise Garbled(
                    f"The table said '{reply.text[:60]}', which means nothing in the dialect "
                    f"{self.dialect.name}; check baud rate, cable and dialect."
                )
        return reply

    def _take_status(self, reply: Reply) -> None:
        self.state, self.position_mm = reply.state, reply.position_mm
        self._status_heard = True
        self._status_s = self.link.now()
        if reply.state == d.ALARMED:
            self.forget()
            raise Alarm("The table stands in alarm; find the cause, then home it.")

    def _take_acknowledgement(self, reply: Reply) -> None:
        if self._waits_for is None:
            raise Garbled("The table acknowledges a line that was not sent.")
        if reply.line is not None and reply.line != self._number:
            raise Garbled(
                f"The table acknowledges line {reply.line}, sent was line {self._number}."
            )
        self._waits_for = None

    def _take_greeting(self) -> None:
        self._number = 0
        self._waits_for = None
        self.forget()
        if not self._greeting_due:
            raise ControllerRestarted(
                "The table's controller began anew by itself; check its power and its cable."
            )
        self._greeting_due = False

    def forget(self) -> None:
        """Where it stands, and whether the spindle turns, is not known any more."""
        self.homed = False
        self.spinning = None
        self.position_mm = None

    # --- stopping -----------------------------------------------------------------

    def urgent(self, word: str) -> None:
        """Sends "hold", "resume" or "reset" at once, whatever else is outstanding."""
        text = getattr(self.dialect, word)
        if self.dialect.urgent_outside_lines:
            self.link.send(text.encode("ascii"))
            return
        self._number += 1
        self.link.send(self.dialect.line_bytes(text, self._number))

    def drain(self, seconds: float, until: tuple[str, ...] = ()) -> bool:
        """Listens without complaint; True once the state is one of `until`, or a greeting came
        where `until` is (GREETING,). For stopping only, when answers may be owed or garbled."""
        end = self.link.now() + seconds
        asked = -math.inf
        while (now := self.link.now()) < end:
            if d.GREETING not in until and until and now - asked >= 0.1:
                asked = now
                self._ask_anyhow()
            line = self.link.poll(min(POLL_S, end - now))
            if line is None:
                continue
            reply = self.dialect.read(line)
            if reply.kind == d.STATUS:
                self.state, self.position_mm = reply.state, reply.position_mm
                if reply.state in until:
                    return True
            if reply.kind == d.GREETING:
                self._number = 0
                if d.GREETING in until:
                    return True
                self.forget()  # nobody asked for it: it began anew
            if reply.kind == d.ALARM or reply.state == d.ALARMED:
                self.homed = False
                self.state = d.ALARMED
        return False

    def _ask_anyhow(self) -> None:
        if self.dialect.status_outside_lines:
            self.link.send(self.dialect.ask.encode("ascii"))
        else:
            self._number += 1
            self.link.send(self.dialect.line_bytes(self.dialect.ask, self._number))

    def begin_again(self) -> Steps:
        """After a reset: the modes once more. Owed answers are forgotten first."""
        self._waits_for = None
        yield from self._set_modes()

    def owes_nothing(self) -> None:
        """After `drain`: what is still outstanding is given up."""
        self._waits_for = None


def _place(xyz) -> str:
    return "(" + ", ".join(f"{v:.3f}" for v in xyz) + ")"
