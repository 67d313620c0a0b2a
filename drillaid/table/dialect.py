"""What a controller says and wants to hear: one small TOML file for each kind.

Two are shipped (`dialects/`); users copy one and change it. Everything is a plain
string or a regular expression for a whole line, so reading a dialect runs no code.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from drillaid.table.framing import Line

RESTING, MOVING, HELD, ALARMED = "resting", "moving", "held", "alarmed"
STATUS, ACKNOWLEDGE, ERROR, ALARM = "status", "acknowledge", "error", "alarm"
GREETING, IGNORED, UNKNOWN = "greeting", "ignored", "unknown"


@dataclass(frozen=True)
class Reply:
    """One line of a controller, understood.

    kind: STATUS, ACKNOWLEDGE, ERROR, ALARM, GREETING, IGNORED or UNKNOWN
    state: RESTING, MOVING, HELD or ALARMED; position_mm: (x, y, z), the table's own (STATUS)
    reason: of an error or alarm; line: the number that an acknowledgement names, or None
    """

    kind: str
    text: str
    state: str | None = None
    position_mm: tuple[float, float, float] | None = None
    reason: str = ""
    line: int | None = None


@dataclass(frozen=True)
class Dialect:
    """As the file says it; see the comments in `dialects/line-ack.toml`.

    outside_lines of status and urgent words: sent as they are, at any time, with no
    line ending, and not acknowledged. acknowledged_when: "accepted" or "finished".
    """

    name: str
    about: str
    ending: str
    numbered: bool
    checksum: str
    checksum_text: str
    longest: int
    decimals: int
    acknowledge: re.Pattern[str]
    error: re.Pattern[str]
    alarm: re.Pattern[str]
    greeting: re.Pattern[str] | None
    ignore: tuple[re.Pattern[str], ...]
    ask: str
    status_outside_lines: bool
    status: re.Pattern[str]
    states: dict[str, str]
    urgent_outside_lines: bool
    hold: str
    resume: str
    reset: str
    begin: tuple[str, ...]
    home: str
    rapid: str
    feed: str
    spindle_on: str
    spindle_off: str
    acknowledged_when: str
    acknowledge_s: float
    status_s: float
    home_s: float
    greeting_s: float

    def read(self, line: Line) -> Reply:
        """What a line means; UNKNOWN where it means nothing or is faulty."""
        text = line.text
        if line.fault is not None:
            return Reply(UNKNOWN, text)
        if found := self.status.fullmatch(text):
            return self._status(found, text)
        for kind, pattern in (
            (ACKNOWLEDGE, self.acknowledge), (ERROR, self.error),
            (ALARM, self.alarm), (GREETING, self.greeting),
        ):  # fmt: skip
            if pattern is not None and (found := pattern.fullmatch(text)):
                groups = found.groupdict()
                number = groups.get("line")
                return Reply(
                    kind, text, reason=groups.get("reason") or "",
                    line=int(number) if number and number.isdecimal() else None,
                )  # fmt: skip
        ignored = any(pattern.fullmatch(text) for pattern in self.ignore)
        return Reply(IGNORED if ignored else UNKNOWN, text)

    def _status(self, found: re.Match[str], text: str) -> Reply:
        state = self.states.get(found["state"])
        try:
            x, y, z = (float(found[axis]) for axis in "xyz")
        except ValueError:
            return Reply(UNKNOWN, text)
        if state is None or not all(map(math.isfinite, (x, y, z))):
            return Reply(UNKNOWN, text)
        return Reply(STATUS, text, state, (x, y, z))

    def line_bytes(self, text: str, number: int = 0) -> bytes:
        """A line as it goes out. number counts from 1; used where lines are numbered.

        ValueError for a line too long for the controller or not plain text.
        """
        body = f"N{number} {text}" if self.numbered else text
        if self.checksum != "none":
            body += self.checksum_text.format(check=check_of(body, self.checksum))
        data = (body + self.ending).encode("ascii")
        if not text.isprintable() or len(data) > self.longest:
            raise ValueError(f"{text!r} is no line for {self.name}")
        return data

    def number(self, value: float) -> str:
        """A coordinate, mm, with the decimals the controller takes; never an exponent."""
        text = f"{value:.{self.decimals}f}"
        return text.lstrip("-") if float(text) == 0 else text

    def move(self, word: str, *, feed: float | None = None, **axes: float | None) -> str:
        """A motion line such as `G1 X1.000 F200`; feed in mm/min; axes that are None stay."""
        words = [f"{name.upper()}{self.number(mm)}" for name, mm in axes.items() if mm is not None]
        return " ".join([word, *words] + ([] if feed is None else [f"F{feed:.0f}"]))


def check_of(body: str, kind: str) -> int:
    """0 … 255. sum: of all bytes modulo 256; xor: of all bytes."""
    check = 0
    for byte in body.encode("ascii"):
        check = (check + byte) % 256 if kind == "sum" else check ^ byte
    return check
