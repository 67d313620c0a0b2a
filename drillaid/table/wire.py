"""Bytes to and from a port, whatever it is: a device, a socket, a pseudo-terminal.

A thread reads all the time, so that nothing is lost while the program looks at a
picture and every wait has its deadline whatever the driver does.
"""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable
from typing import Protocol

from drillaid.errors import PortLost, PortTimeout, UsageError, printable

READ_S = 0.05  # the reader's own deadline: closing takes no longer
WRITE_S = 1.0
OPEN_S = 10.0
_REMEDY = "give a device name, a pyserial URL such as socket://127.0.0.1:5333, or sim"


class Wire(Protocol):
    """What a link speaks through. `now` is the clock of all deadlines, seconds.

    read: what has come, waiting at most timeout_s for the first byte; b"" if nothing did.
    read and write raise PortLost, write also PortTimeout. `close` may be called twice.
    """

    name: str

    def now(self) -> float: ...

    def read(self, timeout_s: float) -> bytes: ...

    def write(self, data: bytes) -> None: ...

    def close(self) -> None: ...


_factories: dict[str, Callable[[], Wire]] = {}


def register_port(word: str, factory: Callable[[], Wire]) -> None:
    """Lets `--port word` open `factory()`; `sim` comes in this way, so that nothing here
    knows of the simulation."""
    _factories[word] = factory


def open_wire(url: str, *, baud: int = 115_200) -> Wire:
    """Opens a port. UsageError for a word that is none, PortLost for one that cannot be opened."""
    url = str(url).strip()
    if url in _factories:
        return _factories[url]()
    if url == "sim":
        raise UsageError("the simulated table is not available in this command", remedy=_REMEDY)
    if not url or "\0" in url:
        raise UsageError("the port is empty", remedy=_REMEDY)
    return SerialWire(url, baud=baud)


class SerialWire:
    """Any port of pyserial: `url` as its `serial_for_url` takes it."""

    def __init__(self, url: str, *, baud: int = 115_200) -> None:
        self.name = printable(url)
        self._came: queue.SimpleQueue[bytes | None] = queue.SimpleQueue()
        self._why = "it was closed"
        self._closing = threading.Event()
        self._port = _open(url, self.name, baud)
        self._reader = threading.Thread(
            target=self._read_on, name=f"reads {self.name}", daemon=True
        )
        self._reader.start()

    def now(self) -> float:
        return time.monotonic()

    def read(self, timeout_s: float) -> bytes:
        try:
            data = self._came.get(timeout=max(timeout_s, 0.0))
            while data is not None and not self._came.empty():
                more = self._came.get_nowait()
                if more is None:
                    self._came.put(None)
                    break
                data += more
        except queue.Empty:
            return b""
        if data is None:
            self._came.put(None)  # whoever asks again hears the same
            raise PortLost(f"The port {self.name} is gone ({self._why}); check cable and power.")
        return data

    def write(self, data: bytes) -> None:
        import serial

        try:
            self._port.write(data)
        except serial.SerialTimeoutException:
            raise PortTimeout(
                f"The port {self.name} took nothing for {WRITE_S:g} s; check cable and power."
            ) from None
        except (serial.SerialException, OSError, TypeError, AttributeError) as error:
            # pyserial works on None once a port was closed under it
            raise PortLost(
                f"The port {self.name} is gone ({_reason(error)}); check cable and power."
            ) from None

    def close(self) -> None:
        self._closing.set()
        self._reader.join(OPEN_S)
        self._port.close()

    def _read_on(self) -> None:
        import serial

        try:
            while not self._closing.is_set():
                # one byte, or all that waits: a frame is not held back for the next
                if data := self._port.read(max(1, self._port.in_waiting)):
                    self._came.put(data)
        except (serial.SerialException, OSError, TypeError, AttributeError) as error:
            self._why = _reason(error)
        self._came.put(None)


def _open(url: str, name: str, baud: int):
    import serial

    try:
        return serial.serial_for_url(url, baudrate=baud, timeout=READ_S, write_timeout=WRITE_S)
    except (ImportError, ValueError) as error:
        raise UsageError(f"{name} is no port ({_reason(error)})", remedy=_REMEDY) from None
    except (serial.SerialException, OSError) as error:
        raise PortLost(
            f"The port {name} cannot be opened ({_reason(error)}); check the name, the cable "
            "and that no other program uses it."
        ) from None


def _reason(error: Exception) -> str:
    words = getattr(error, "strerror", None) or str(error) or type(error).__name__
    return printable(" ".join(words.split()))[:120].strip(" .")
