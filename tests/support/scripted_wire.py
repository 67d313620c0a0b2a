"""A port that plays a dialogue: what we must say, and what is answered. Anything else fails."""

from __future__ import annotations

from drillaid.errors import PortLost


class ScriptedWire:
    """script: (what we send, the answers) in order; an answer is bytes, or an exception.

    A wait without anything to read lets the time pass. `done` fails on anything left over.
    """

    name = "scripted port"

    def __init__(self, *script: tuple[bytes, list]) -> None:
        self.script = list(script)
        self.answers: list = []
        self.time_s = 0.0
        self.closed = False

    def now(self) -> float:
        return self.time_s

    def write(self, data: bytes) -> None:
        assert self.script, f"{data!r} was sent after the end of the script"
        wanted, answers = self.script.pop(0)
        assert data == wanted, f"{data!r} was sent, the script wants {wanted!r}"
        assert not self.answers, f"{data!r} was sent before {self.answers} was read"
        self.answers = list(answers)

    def read(self, timeout_s: float) -> bytes:
        if self.closed:
            raise PortLost("The port scripted port is gone.")
        if not self.answers:
            self.time_s += timeout_s
            return b""
        answer = self.answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return answer

    def close(self) -> None:
        self.closed = True

    def done(self) -> None:
        assert not self.script, f"left over in the script: {self.script}"
        assert not self.answers, f"never read: {self.answers}"
