"""Lines to and from a controller, each wait with its deadline, the dialogue kept for who asks."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from drillaid.errors import PortTimeout
from drillaid.table.framing import Framer, Line
from drillaid.table.wire import Wire, open_wire

KEPT = 200  # the last lines, for a message that has to say what was heard


@dataclass(frozen=True)
class Heard:
    """One part of the dialogue. time_s: the wire's clock; sent: by us, else received."""

    time_s: float
    sent: bool
    text: str
    fault: str | None = None

    def __str__(self) -> str:
        fault = f"   ({self.fault})" if self.fault else ""
        return f"{self.time_s:9.3f} {'->' if self.sent else '<-'} {self.text}{fault}"


class Link:
    """listen: called with each `Heard` as it happens; dialogue: the last ones."""

    def __init__(
        self, wire: Wire, *, longest: int = 256, listen: Callable[[Heard], None] | None = None
    ) -> None:
        self._wire = wire
        self._framer = Framer(longest)
        self._lines: deque[Line] = deque()
        self._listen = listen
        self.dialogue: deque[Heard] = deque(maxlen=KEPT)

    @classmethod
    def open(cls, url: str, *, baud: int = 115_200, **kwargs) -> Link:
        """As `wire.open_wire`."""
        return cls(open_wire(url, baud=baud), **kwargs)

    @property
    def name(self) -> str:
        return self._wire.name

    @property
    def half(self) -> bytes:
        """The beginning of a line that has not ended; some controllers prompt like that."""
        return self._framer.held

    def now(self) -> float:
        return self._wire.now()

    def send(self, data: bytes) -> None:
        """Raises PortLost or PortTimeout."""
        self._note(True, "".join(_named(byte) for byte in data))
        self._wire.write(data)

    def poll(self, timeout_s: float) -> Line | None:
        """The next line, or None if none is whole within timeout_s. Raises PortLost."""
        end = self._wire.now() + timeout_s
        while not self._lines:
            left = end - self._wire.now()
            data = self._wire.read(max(left, 0.0))
            for line in self._framer.feed(data):
                self._lines.append(line)
                self._note(False, line.text, line.fault)
            if not self._lines and left <= 0:
                return None
        return self._lines.popleft()

    def line(self, timeout_s: float, what: str = "answer") -> Line:
        """As `poll`, but PortTimeout, with what was waited for, if nothing came."""
        line = self.poll(timeout_s)
        if line is None:
            raise PortTimeout(f"No {what} from {self.name} within {timeout_s:g} s.")
        return line

    def close(self) -> None:
        self._wire.close()

    def __enter__(self) -> Link:
        return self

    def __exit__(self, *exc_info) -> None:
        self.close()

    def _note(self, sent: bool, text: str, fault: str | None = None) -> None:
        heard = Heard(self._wire.now(), sent, text, fault)
        self.dialogue.append(heard)
        if self._listen is not None:
            self._listen(heard)


def _named(byte: int) -> str:
    """A byte as a person writes it; line ends show, so that a wrong one is noticed."""
    if byte in (10, 13):
        return "\\n" if byte == 10 else "\\r"
    return chr(byte) if 32 <= byte < 127 else f"\\x{byte:02x}"
