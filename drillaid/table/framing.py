"""Bytes from a port -> whole lines. Pure: no port, no clock, no meaning.

A line ends with CR, LF or both in either order; empty lines are passed over. What
is not printable ASCII (noise, another encoding, another baud rate) makes its line
faulty, and so does a line without an end; neither is ever repaired or guessed.
"""

from __future__ import annotations

from dataclasses import dataclass

LONGEST = 256  # bytes; far more than any reply we know of, common practice, no source

OVER_LONG, NOT_TEXT = "longer than a line may be", "not plain text"


@dataclass(frozen=True)
class Line:
    """text: printable ASCII without spaces at its ends, other bytes shown as \\xNN;
    fault: None, OVER_LONG or NOT_TEXT
    """

    text: str
    fault: str | None = None


class Framer:
    """Fed with bytes as they come; the same lines come out however they were cut."""

    def __init__(self, longest: int = LONGEST) -> None:
        if longest < 1:
            raise ValueError("a line has at least one byte")
        self._longest = longest
        self.reset()

    def reset(self) -> None:
        """Forgets half a line, as after opening a port anew."""
        self._held = bytearray()
        self._too_long = False

    @property
    def held(self) -> bytes:
        """The beginning of a line whose end has not come, at most as long as a line may be."""
        return bytes(self._held)

    def feed(self, data: bytes) -> list[Line]:
        """The lines that are whole now, in order."""
        lines = []
        for part in data.replace(b"\r", b"\n").splitlines(keepends=True):
            ended = part.endswith(b"\n")
            self._hold(part[:-1] if ended else part)
            if ended and (line := self._take()) is not None:
                lines.append(line)
        return lines

    def _hold(self, part: bytes) -> None:
        room = self._longest - len(self._held)
        self._held += part[:room]
        self._too_long = self._too_long or len(part) > room

    def _take(self) -> Line | None:
        raw, too_long = bytes(self._held), self._too_long
        self.reset()
        if too_long:
            return Line(_shown(raw), OVER_LONG)
        plain = all(32 <= byte < 127 or byte == 9 for byte in raw)
        text = _shown(raw).strip()
        if not text:
            return None
        return Line(text, None if plain else NOT_TEXT)


def _shown(raw: bytes) -> str:
    return "".join(
        chr(byte) if 32 <= byte < 127 else " " if byte == 9 else f"\\x{byte:02x}" for byte in raw
    )
