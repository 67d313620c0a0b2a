"""How the simulated controller speaks: the two shipped dialects, written down a second time.

On purpose not made from the dialect files: a slip in one of them shows as a
dialogue that fails.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import reduce
from operator import xor

_WORD = re.compile(r"([A-Z])\s*([-+]?\d*\.?\d+)")


class NotUnderstood(Exception):
    """The controller's complaint about a line."""


def words_of(line: str) -> list[tuple[str, float]]:
    """The letters and numbers of one RS-274 line; NotUnderstood for anything else in it."""
    text = line.upper()
    rest = _WORD.sub("", text).strip()
    if rest:
        raise NotUnderstood("unknown word")
    return [(letter, float(number)) for letter, number in _WORD.findall(text)]


@dataclass
class LineTongue:
    """As `line-ack`: "ok" or "error:N", single bytes at any time."""

    bytes_outside = {0x05: "status", 0x13: "hold", 0x11: "resume", 0x03: "reset"}
    spoken = {"HOME": "home"}

    def unpack(self, line: str) -> tuple[int, str]:
        return 0, line

    def restart(self) -> None: ...

    def ok(self, number: int) -> str:
        return "ok"

    def error(self, number: int, why: str) -> str:
        codes = {"not homed": 2, "unknown word": 3, "in alarm": 9}
        return f"error:{codes.get(why, 1)}"

    def alarm(self, why: str) -> str:
        return f"alarm:{why}"

    def greeting(self) -> str:
        return "ready, table controller (simulated)"

    def status(self, state: str, xyz) -> str:
        return f"is {state} at " + " ".join(f"{v:.3f}" for v in xyz)


@dataclass
class NumberedTongue:
    """As `numbered-ack`: numbered lines with a checksum, all else by words."""

    bytes_outside = {}
    spoken = {"M130": "status", "M131": "hold", "M132": "resume", "M133": "reset", "M134": "home"}
    kind: str = "sum"
    expected: int = 1

    def unpack(self, line: str) -> tuple[int, str]:
        """(number, text). NotUnderstood where number or checksum are wrong."""
        found = re.fullmatch(r"N(\d+) (.*)&([0-9A-F]{2})", line)
        if found is None:
            raise NotUnderstood("no number or checksum")
        number, body = int(found[1]), line[: line.rindex("&")].encode("ascii")
        check = sum(body) % 256 if self.kind == "sum" else reduce(xor, body)
        if check != int(found[3], 16):
            raise NotUnderstood("checksum")
        if number != self.expected:
            raise NotUnderstood(f"expected N{self.expected}")
        self.expected += 1
        return number, found[2]

    def restart(self) -> None:
        self.expected = 1

    def ok(self, number: int) -> str:
        return f"ok N{number}"

    def error(self, number: int, why: str) -> str:
        return f"no N{number} {why}"

    def alarm(self, why: str) -> str:
        return f"fault {why}"

    def greeting(self) -> str:
        return "start"

    def status(self, state: str, xyz) -> str:
        words = {"resting": "REST", "moving": "MOVE", "homing": "MOVE", "held": "HOLD",
                 "stopped": "FAULT"}  # fmt: skip
        x, y, z = xyz
        return f"X{x:.3f} Y{y:.3f} Z{z:.3f} {words[state]}"


TONGUES = {"line-ack": LineTongue, "numbered-ack": NumberedTongue}
