"""A stepper table in software: bytes in, bytes out, by a clock that is handed in.

It keeps a log of what truly happened (`Happened`), which tests hold against the
promises of the program. Replies can be slow, cut in pieces, changed or left out.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from drillaid.simulation.table_motion import Axes, Mechanics, Segment
from drillaid.simulation.table_words import TONGUES, NotUnderstood, words_of

HOMING_MM_S = 15.0
_IGNORED = {("G", n) for n in (54, 80, 90, 94, 17, 40, 49)} | {("M", 9.0)}


@dataclass(frozen=True)
class Happened:
    """One thing that truly happened.

    what: "line", "urgent", "motion" (it begins), "arrived", "spindle", "home", "drill",
      "alarm", "reset", "restart" or "overrun" (a motion line while one was not over)
    bench_mm: where the moving part truly stood; z: the bit's true height
    """

    time_s: float
    what: str
    text: str = ""
    start: tuple[float, ...] = ()
    end: tuple[float, ...] = ()
    bench_mm: tuple[float, float] = (0.0, 0.0)
    z: float = 0.0
    spinning: bool = False


@dataclass
class Replies:
    """How answers leave: delay_s before each, split into pieces with gap_s between them;
    change: what becomes of a reply, None for nothing; silent: nothing leaves at all."""

    delay_s: float = 0.002
    split: bool = False
    gap_s: float = 0.01
    change: Callable[[str], str | bytes | None] | None = None
    silent: bool = False


class SimulatedTable:
    """now: the clock, s; on_drill: called with (bench_mm of the moving part, time) when the
    turning bit goes through the board's face."""

    def __init__(
        self,
        now: Callable[[], float],
        *,
        dialect: str = "line-ack",
        mechanics: Mechanics | None = None,
        seed: int = 0,
        on_drill: Callable[[np.ndarray, float], None] | None = None,
    ) -> None:
        self._now = now
        self.mechanics = mechanics or Mechanics()
        self.axes = Axes(self.mechanics, seed)
        self.tongue = TONGUES[dialect]()
        self.replies = Replies()
        self.log: list[Happened] = []
        self.on_drill = on_drill
        self.before_line: Callable[[str], None] | None = None
        self.homed = self.alarmed = self.spinning = self.held = False
        self.dead = False
        self._bored: np.ndarray | None = None
        self._line = bytearray()
        self._due: list[tuple[float, int, bytes]] = []
        self._count = 0
        self._line_free_s = 0.0
        self._segment: Segment | None = None
        self._kept: np.ndarray | None = None  # where a held motion was going
        self._queue: list[tuple[np.ndarray, float | None]] = []
        self._homing_until: float | None = None
        self._relative, self._feed, self._inch = False, 0.0, False

    # --- bytes --------------------------------------------------------------------

    def plug_in(self) -> None:
        """Someone has opened the port: it greets, as controllers do that restart then."""
        self._line.clear()
        self._due.clear()
        self._restart("opened")

    def receive(self, data: bytes) -> None:
        self.catch_up()
        if self.dead:
            return
        for byte in data:
            if (word := self.tongue.bytes_outside.get(byte)) is not None:
                self._urgent(word)
            elif byte in (10, 13):
                line, self._line = self._line.decode("latin-1"), bytearray()
                if line.strip():
                    self._obey(line.strip())
            else:
                self._line.append(byte)

    def take(self) -> bytes:
        """The bytes that have left by now."""
        self.catch_up()
        out = b""
        while self._due and self._due[0][0] <= self._now() + 1e-12:
            out += heapq.heappop(self._due)[2]
        return out

    def next_s(self) -> float:
        """When the next bytes leave; inf for never. Motions that end send none."""
        self.catch_up()
        return self._due[0][0] if self._due else math.inf

    def say(self, text: str, *, after_s: float = 0.0) -> None:
        """A line leaves, with all that `replies` does to it."""
        r = self.replies
        if r.silent or self.dead:
            return
        changed = r.change(text) if r.change is not None else text
        if changed is None:
            return
        data = changed if isinstance(changed, bytes) else changed.encode("latin-1") + b"\r\n"
        at = max(self._now() + r.delay_s + after_s, self._line_free_s)
        pieces = [data[i : i + 3] for i in range(0, len(data), 3)] if r.split else [data]
        if not after_s:  # one answer after the other; but what homing says may wait
            self._line_free_s = at + r.gap_s * (len(pieces) - 1)
        for k, piece in enumerate(pieces):
            self._count += 1
            heapq.heappush(self._due, (at + k * r.gap_s, self._count, piece))

    # --- meaning ------------------------------------------------------------------

    def _urgent(self, word: str) -> None:
        self._note("urgent", word)
        if word == "status":
            self.say(self.tongue.status(self.state, self._position()))
        elif word == "hold":
            self._hold()
        elif word == "resume":
            self._resume()
        elif word == "reset":
            self._reset()

    @property
    def state(self) -> str:
        if self.alarmed:
            return "stopped"
        if self._homing_until is not None:
            return "homing"
        if self._segment is not None:
            return "moving"
        return "held" if self.held else "resting"

    def _obey(self, line: str) -> None:
        if self.before_line is not None:
            self.before_line(line)
            if self.dead:
                return
        self._note("line", line)
        number = 0
        try:
            number, text = self.tongue.unpack(line)
            word = self.tongue.spoken.get(text)
            if word == "home":
                self._home(number)
                return
            if word == "reset":
                self.say(self.tongue.ok(number))
            if word is not None:
                self._urgent(word)
                if word != "reset":
                    self.say(self.tongue.ok(number))
                return
            self._carry_out(text)
        except NotUnderstood as why:
            self.say(self.tongue.error(number, str(why)))
            return
        if not self.alarmed:
            self.say(self.tongue.ok(number))

    def _carry_out(self, text: str) -> None:
        words = words_of(text)
        if self.alarmed:
            raise NotUnderstood("in alarm")
        moves = any(letter in "XYZ" for letter, _ in words)
        if moves and not self.homed:
            raise NotUnderstood("not homed")
        values: dict[str, float] = {}
        motion = None
        for letter, value in words:
            if letter in "XYZFSP":
                values[letter] = value * (25.4 if self._inch and letter in "XYZF" else 1.0)
            elif (letter, value) in (("G", 0), ("G", 1)):
                motion = int(value)
            elif (letter, value) in (("G", 20), ("G", 21)):
                self._inch = value == 20
            elif (letter, value) == ("G", 91):
                raise NotUnderstood("incremental is not simulated")
            elif letter == "M" and value in (3, 4, 5):
                self._spin(value != 5)
            elif letter == "G" and value == 4:
                pass
            elif (letter, value) not in _IGNORED:
                raise NotUnderstood("unknown word")
        self._feed = values.get("F", self._feed)
        if moves:
            self._move(motion, values)

    def _spin(self, on: bool) -> None:
        if on != self.spinning:
            self.spinning = on
            self._note("spindle", "on" if on else "off")

    def _move(self, motion: int | None, values: dict[str, float]) -> None:
        if motion is None or (motion == 1 and self._feed <= 0):
            raise NotUnderstood("no motion or no feed")
        last = self._queue[-1][0] if self._queue else None
        if last is None and self._segment is not None:
            last = self._segment.end
        target = np.array(self._position() if last is None else last, dtype=float)
        for axis, letter in enumerate("XYZ"):
            target[axis] = values.get(letter, target[axis])
        low, high = np.array(self.mechanics.limits_mm).T
        if (target < low - 1e-6).any() or (target > high + 1e-6).any():
            self.raise_alarm("soft limit")
            return
        if self._segment is not None or self._queue:
            self._note("overrun", str(values))
        self._queue.append((target, None if motion == 0 else self._feed / 60))
        self._start_next()

    # --- motion -------------------------------------------------------------------

    def catch_up(self) -> None:
        """All that has happened by now, in its order."""
        now = self._now()
        if self._homing_until is not None and now >= self._homing_until:
            self._homing_until = None
            self.homed = True
        while self._segment is not None and now >= self._segment.over_s:
            over = self._segment
            self._reach(over, over.over_s, over.end)
            self._segment = None
            self._note("arrived", start=over.start, end=over.end, at_s=over.over_s)
            self._start_next(over.over_s)
        if self._segment is not None:
            self._reach(self._segment, now, self._segment.at(now))

    def _reach(self, segment: Segment, time_s: float, place: np.ndarray) -> None:
        before = self.axes.z
        self.axes.follow(place)
        surface = self.mechanics.surface_z_mm
        if before > surface >= self.axes.z:
            place = self.axes.bench_mm
            again = self._bored is not None and bool(np.abs(place - self._bored).max() < 1e-6)
            self._bored = place  # the pecks of one hole
            if not again:
                self._note("drill", at_s=time_s)
            if not again and self.spinning and self.on_drill is not None:
                self.on_drill(place, time_s)

    def _start_next(self, at_s: float | None = None) -> None:
        if self._segment is not None or self.held or not self._queue:
            return
        target, feed = self._queue.pop(0)
        start = np.array(self.axes.commanded)
        way = np.abs(target - start)
        length = float(np.linalg.norm(way))
        if length < 1e-9:
            return
        share = np.maximum(way / length, 1e-9)
        speed = float((np.array(self.mechanics.speed_mm_s) / share).min())
        acceleration = float((np.array(self.mechanics.acceleration_mm_s2) / share).min())
        speed = speed if feed is None else min(speed, feed)
        begun = self._now() if at_s is None else at_s
        self.axes.maybe_lose_steps(target - start)
        self._note("motion", start=start, end=target, at_s=begun)
        self._segment = Segment(start, target, begun, speed, acceleration, feed is None)

    def _hold(self) -> None:
        self.held = True
        if self._segment is not None:
            self._kept = self._segment.end
            self._segment = self._segment.braked(self._now())

    def _resume(self) -> None:
        self.held = False
        if self._kept is not None:
            self._queue.insert(0, (self._kept, None))
            self._kept = None
        self._start_next()

    def _home(self, number: int) -> None:
        """Z first, then x and y; the answer comes at the end."""
        if self._segment is not None:
            raise NotUnderstood("moving")
        way = np.abs(self.axes.commanded - self.mechanics.home_mm)
        lasts = (float(way[2]) + float(way[:2].max())) / HOMING_MM_S + 0.2
        self.alarmed = self.held = False
        self._note("home", start=self.axes.commanded, end=self.mechanics.home_mm)
        self.axes.find_home()
        self._homing_until = self._now() + lasts
        self.say(self.tongue.ok(number), after_s=lasts)

    def _reset(self) -> None:
        """Everything stops at once; a motion cut off loses its place."""
        self._note("reset")
        if self._segment is not None or self._homing_until is not None:
            self.homed = False
        self._restart("reset")

    def restart(self) -> None:
        """The controller's own processor begins anew: a brown-out, a bad cable."""
        self.homed = False
        self._restart("restart")

    def _restart(self, what: str) -> None:
        self.catch_up()
        if what != "reset":
            self.homed = self.alarmed = False
            self._note("restart", what)
        self._stop_dead()
        self._spin(False)
        self.held = False
        self._line.clear()
        self._due.clear()
        self.tongue.restart()
        self.say(self.tongue.greeting(), after_s=0.05)

    def raise_alarm(self, why: str) -> None:
        """As a limit switch does: all stops, nothing is taken but homing."""
        self.catch_up()
        self._stop_dead()
        self.homed, self.alarmed = False, True
        self._spin(False)
        self._note("alarm", why)
        self.say(self.tongue.alarm(why))

    def _stop_dead(self) -> None:
        self._segment = self._kept = self._homing_until = None
        self._queue.clear()

    # --- truth --------------------------------------------------------------------

    @property
    def bench_mm(self) -> np.ndarray:
        """(2,), where the moving part truly is."""
        self.catch_up()
        return self.axes.bench_mm

    def _position(self) -> tuple[float, float, float]:
        return tuple(float(v) for v in self.axes.commanded)

    def _note(self, what: str, text: str = "", *, start=(), end=(), at_s=None) -> None:
        self.log.append(
            Happened(
                self._now() if at_s is None else at_s, what, text,
                tuple(float(v) for v in start), tuple(float(v) for v in end),
                tuple(self.axes.bench_mm.tolist()), self.axes.z, self.spinning,
            )
        )  # fmt: skip
