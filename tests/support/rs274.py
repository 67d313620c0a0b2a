"""A small interpreter of RS-274 files, for tests: what a machine would do, line by line.

Written from the published rules only, apart from what writes the files: those of NIST's NGC
interpreter (Kramer, Proctor, Messina, NISTIR 6556, August 2000) as told in the documentation
of an open descendant of it. Anything outside the rules below is an `Rs274Error`, so that a
file that leans on another reading fails.

Kept: letters in any case, spaces anywhere outside comments; comments in brackets, and after a
semicolon; a slash first on a line skips it when block delete is on; modal groups, one word of
each in a line; G0 G1 G4 G20 G21 G54 G80 G81 G83 G90 G91 G94 G98 G99, M0 M1 M2 M30 M3 M5;
axis words while G80 is active are an error, as is R below Z, P below zero, no F for G1, L or
Q that is not above 0; Z and R of a cycle stay until the cycle is left.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

MOTION, DISTANCE, UNITS, RETURN, OFFSET, FEED, DWELL, STOP, SPINDLE = range(9)
GROUPS = {
    "G0": MOTION, "G1": MOTION, "G80": MOTION, "G81": MOTION, "G83": MOTION, "G90": DISTANCE,
    "G91": DISTANCE, "G20": UNITS, "G21": UNITS, "G98": RETURN, "G99": RETURN, "G54": OFFSET,
    "G94": FEED, "G4": DWELL, "M0": STOP, "M1": STOP, "M2": STOP, "M30": STOP,
    "M3": SPINDLE, "M5": SPINDLE,
}  # fmt: skip
_WORD = re.compile(r"([A-Z])([-+]?(?:\d+\.?\d*|\.\d+))")
CYCLES = ("G81", "G83")


class Rs274Error(ValueError):
    """A line that the published rules do not allow."""


@dataclass(frozen=True)
class Move:
    """rapid, or a feed line; start and end (x, y, z) mm; line counts from 1."""

    line: int
    rapid: bool
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    spinning: bool
    feed_mm_min: float | None = None


@dataclass(frozen=True)
class Halt:
    """M0 or M1: the person is asked. at: (x, y, z) mm; messages: of the comments before it."""

    line: int
    at: tuple[float, float, float]
    spinning: bool
    messages: tuple[str, ...]


@dataclass
class Machine:
    """moves, halts: what happened; ended: M2 or M30 was met. Lengths in mm."""

    at: tuple[float, float, float] = (0.0, 0.0, 0.0)
    block_delete: bool = True
    moves: list[Move] = field(default_factory=list)
    halts: list[Halt] = field(default_factory=list)
    dwells_s: list[float] = field(default_factory=list)
    ended: bool = False
    spinning: bool = False
    speed: float = 0.0
    feed: float | None = None
    modal: dict[int, str] = field(
        default_factory=lambda: {MOTION: "G1", DISTANCE: "G90", UNITS: "G21", RETURN: "G98"}
    )
    _sticky: dict[str, float] = field(default_factory=dict)
    _old_z: float = 0.0
    _messages: list[str] = field(default_factory=list)
    _line: int = 0

    def run(self, text: str) -> Machine:
        for number, line in enumerate(text.splitlines(), start=1):
            if self.ended:
                break
            self._line = number
            self._obey(line)
        return self

    # --- one line -----------------------------------------------------------------

    def _obey(self, line: str) -> None:
        text = self._without_comments(line)
        if text.startswith("/"):
            if self.block_delete:
                return
            text = text[1:]
        if _WORD.sub("", text):
            raise self._wrong(f"not understood: {line!r}")
        codes: dict[int, str] = {}
        words: dict[str, float] = {}
        for letter, number in _WORD.findall(text):
            if letter in "GM":
                name = f"{letter}{float(number):g}"
                if name not in GROUPS:
                    raise self._wrong(f"unknown {name}")
                if codes.setdefault(GROUPS[name], name) != name:
                    raise self._wrong(f"{codes[GROUPS[name]]} and {name} are of one modal group")
            elif letter == "N":
                continue
            elif letter not in "XYZFSPQRL":
                raise self._wrong(f"unknown letter {letter}")
            elif letter in words:
                raise self._wrong(f"{letter} twice")
            else:
                words[letter] = float(number)
        self._carry_out(codes, words)

    def _without_comments(self, line: str) -> str:
        out, depth, comment = "", 0, ""
        for character in line:
            if depth:
                if character == "(":
                    raise self._wrong("a bracket within a comment")
                if character == ")":
                    depth = 0
                    if comment.strip().upper().startswith("MSG,"):
                        self._messages.append(comment.strip()[4:].strip())
                    continue
                comment += character
            elif character == "(":
                depth, comment = 1, ""
            elif character == ";":
                break
            elif character == ")":
                raise self._wrong("a comment ends that did not begin")
            else:
                out += character
        if depth:
            raise self._wrong("a comment does not end")
        return re.sub(r"\s", "", out).upper()

    def _carry_out(self, codes: dict[int, str], words: dict[str, float]) -> None:
        """In the order of execution: feed, speed, spindle, dwell, units, modes, motion, stop."""
        was = self.modal[MOTION]
        for group in (UNITS, DISTANCE, RETURN, OFFSET, FEED):
            if group in codes:
                self.modal[group] = codes[group]
        if "F" in words:
            self.feed = self._mm(words["F"])
        self.speed = words.get("S", self.speed)
        if SPINDLE in codes:
            self.spinning = codes[SPINDLE] == "M3"
        axes = {letter: words[letter] for letter in "XYZ" if letter in words}
        if DWELL in codes:
            if words.get("P", -1.0) < 0:
                raise self._wrong("G4 without a P of 0 or more")
            if axes:
                raise self._wrong("G4 and axis words")
            self.dwells_s.append(words["P"])
        if MOTION in codes:
            self.modal[MOTION] = codes[MOTION]
        motion = self.modal[MOTION]
        if motion in CYCLES and was not in CYCLES:
            self._sticky, self._old_z = {}, self.at[2]
        if axes:
            self._move(motion, axes, words)
        if STOP in codes:
            self._stop(codes[STOP])

    def _stop(self, word: str) -> None:
        if word in ("M2", "M30"):
            self.ended, self.spinning = True, False
            self.modal[MOTION], self.modal[DISTANCE] = "G1", "G90"
            return
        self.halts.append(Halt(self._line, self.at, self.spinning, tuple(self._messages)))
        self._messages.clear()

    # --- motion -------------------------------------------------------------------

    def _move(self, motion: str, axes: dict[str, float], words: dict[str, float]) -> None:
        if motion == "G80":
            raise self._wrong("axis words while G80 is active")
        if motion in CYCLES:
            self._cycle(motion, axes, words)
            return
        if motion == "G1" and not self.feed:
            raise self._wrong("G1 without a feed")
        target = tuple(
            self._goal(old, axes.get(letter)) for letter, old in zip("XYZ", self.at, strict=True)
        )
        self._go(motion == "G0", target)

    def _cycle(self, motion: str, axes: dict[str, float], words: dict[str, float]) -> None:
        if not self.feed:
            raise self._wrong("a cycle without a feed")
        relative = self.modal[DISTANCE] == "G91"
        for letter, value in (("R", words.get("R")), ("Z", axes.get("Z")), ("Q", words.get("Q"))):
            if value is not None:
                self._sticky[letter] = self._mm(value)
        if not {"R", "Z"} <= self._sticky.keys():
            raise self._wrong("a cycle without R and Z")
        repeats = words.get("L", 1.0)
        if repeats < 1 or repeats != int(repeats):
            raise self._wrong("L is not above 0")
        if motion == "G83" and self._sticky.get("Q", 0.0) <= 0:
            raise self._wrong("Q is not above 0")
        # incremental: R from where Z stands, Z from R
        clear = self._sticky["R"] + (self._old_z if relative else 0.0)
        bottom = self._sticky["Z"] + (clear if relative else 0.0)
        if clear < bottom:
            raise self._wrong("R is below Z")
        back = clear if self.modal[RETURN] == "G99" else max(self._old_z, clear)
        if self.at[2] < clear:
            self._go(True, (*self.at[:2], clear))
        for _ in range(int(repeats)):
            x, y = (
                self._goal(old, axes.get(letter))
                for letter, old in zip("XY", self.at[:2], strict=True)
            )
            self._go(True, (x, y, self.at[2]))
            self._go(True, (x, y, clear))
            self._down(x, y, clear, bottom, self._sticky["Q"] if motion == "G83" else None)
            self._go(True, (x, y, back))

    def _down(self, x: float, y: float, clear: float, bottom: float, peck: float | None) -> None:
        depth = clear
        while depth > bottom:
            depth = bottom if peck is None else max(bottom, depth - peck)
            self._go(False, (x, y, depth))
            if depth > bottom:
                self._go(True, (x, y, clear))

    def _goal(self, old: float, value: float | None) -> float:
        if value is None:
            return old
        return self._mm(value) + (old if self.modal[DISTANCE] == "G91" else 0.0)

    def _go(self, rapid: bool, end: tuple[float, float, float]) -> None:
        if end != self.at:
            feed = None if rapid else self.feed
            self.moves.append(Move(self._line, rapid, self.at, end, self.spinning, feed))
            self.at = end

    def _mm(self, value: float) -> float:
        return value * 25.4 if self.modal[UNITS] == "G20" else value

    def _wrong(self, what: str) -> Rs274Error:
        return Rs274Error(f"line {self._line}: {what}")
