"""Keys of an operator at a terminal, taken without ever waiting for one."""

from __future__ import annotations

import os
import select
import sys

from drillaid.guidance.events import Action, AsSeen, Pause, Pedal, Resume, Revisit, Skip, Undo
from drillaid.guidance.guidance import PAUSED, Guidance

HELP = (
    "Enter: done what was asked for. s Enter: skip, r: return to the skipped, u: undo, "
    "p: pause or go on, q: stop."
)

DECIDE = (
    "p Enter: go on, the record stands. b Enter: put the record right by what was seen on the "
    "board. q Enter: stop; nothing is changed."
)


def meaning(line: str, guidance: Guidance | None) -> Action | str | None:
    """The action of one line; None to stop; a sentence for what is not understood."""
    word = line.strip().lower()
    if word == "q":
        return None
    if word == "p":
        return Resume() if guidance is not None and guidance.state == PAUSED else Pause()
    if word == "b" and guidance is not None and guidance.differs is not None:
        return AsSeen(guidance.differs.extra, guidance.differs.missing)
    actions: dict[str, Action] = {"": Pedal(), "s": Skip(), "u": Undo(), "r": Revisit()}
    return actions.get(word, f"'{word[:20]}' is no key here. {HELP}")


class Console:
    """Standard input as whole lines. open: whether anything may still come.

    A thread that waits for input could not be ended, so the input is asked
    whether something is there.
    """

    def __init__(self, descriptor: int | None = None) -> None:
        self._descriptor = _standard_input() if descriptor is None else descriptor
        self._rest = b""

    @property
    def open(self) -> bool:
        return self._descriptor is not None

    def actions(self, guidance: Guidance | None) -> list[Action | None]:
        """What was asked for since the last call; None among them: stop."""
        from drillaid.commands import say

        found: list[Action | None] = []
        for line in self.lines():
            action = meaning(line, guidance)
            if isinstance(action, str):
                say(action)
            else:
                found.append(action)
        return found

    def lines(self) -> list[str]:
        """Whole lines that have come since the last call."""
        if not self.open:
            return []
        data = _waiting(self._descriptor)
        if data == b"":
            self._descriptor = None
        self._rest += data or b""
        *lines, self._rest = self._rest.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")
        return [line.decode("utf-8", "replace") for line in lines]

    def __enter__(self) -> Console:
        return self

    def __exit__(self, *exc_info) -> None:
        self._descriptor = None


def _standard_input() -> int | None:
    try:
        descriptor = sys.stdin.fileno()
        os.fstat(descriptor)
        return descriptor
    except (AttributeError, OSError, ValueError):
        return None


def _waiting(descriptor: int) -> bytes | None:
    """What has come; b"" at the end of the input, None where nothing is there yet."""
    if os.name == "nt":
        return _waiting_on_windows(descriptor)
    try:
        ready, _, _ = select.select([descriptor], [], [], 0)
        return os.read(descriptor, 4096) if ready else None
    except OSError:
        return b""


def _waiting_on_windows(descriptor: int) -> bytes | None:
    """A console only: Windows cannot ask a pipe without waiting."""
    import msvcrt

    if not os.isatty(descriptor):
        return b""
    typed = ""
    while msvcrt.kbhit():
        typed += msvcrt.getwche()
    return typed.encode() or None
