"""The simulated table behind the port interface: in this program, or as a server.

`SimulatedWire` is for `--port sim`: no thread, and waiting moves a simulated clock.
`TableServer` runs in a thread of its own by the real clock and is reached as
`socket://…` or as a pseudo-terminal, through pyserial as a real table is.
"""

from __future__ import annotations

import contextlib
import os
import select
import socket
import threading
import time
from collections.abc import Callable

from drillaid.errors import PortLost, PortTimeout
from drillaid.simulation.table import SimulatedTable


KEPT_BYTES = 65_536  # for an end that does not read; the oldest go, as in any full buffer


class SimulatedClock:
    """Moves when told; table, camera and program share one."""

    def __init__(self) -> None:
        self.time_s = 0.0

    def now(self) -> float:
        return self.time_s

    def advance(self, seconds: float) -> None:
        self.time_s += max(seconds, 0.0)


class SimulatedWire:
    """`drillaid.table.wire.Wire`. gone: why the port is lost; blocked: it takes no bytes."""

    name = "sim"

    def __init__(self, table: SimulatedTable, clock: SimulatedClock) -> None:
        self.table, self._clock = table, clock
        self.gone: str | None = None
        self.blocked = False
        table.plug_in()

    def now(self) -> float:
        return self._clock.now()

    def read(self, timeout_s: float) -> bytes:
        end = self._clock.now() + max(timeout_s, 0.0)
        while True:
            self._check()
            if data := self.table.take():
                return data
            now = self._clock.now()
            if now >= end:
                return b""
            self._clock.advance(min(self.table.next_s(), end) - now)

    def write(self, data: bytes) -> None:
        self._check()
        if self.blocked:
            raise PortTimeout("The port sim took nothing for 1 s; check cable and power.")
        self.table.receive(data)

    def close(self) -> None:
        self.gone = self.gone or "it was closed"

    def _check(self) -> None:
        if self.gone is not None:
            raise PortLost(f"The port sim is gone ({self.gone}); check cable and power.")


class TableServer:
    """One simulated table on a local socket or, with terminal=True, a pseudo-terminal (POSIX).

    make: called with the clock, gives the table; faster: times as fast as the real
    clock. `url` is what goes behind --port. Use as a context manager.
    """

    def __init__(
        self,
        make: Callable[[Callable[[], float]], SimulatedTable],
        *,
        terminal: bool = False,
        faster: float = 1.0,
    ) -> None:
        begun = time.monotonic()
        self.lock = threading.RLock()  # hold it to look at the table from another thread
        self.table = make(lambda: faster * (time.monotonic() - begun))
        self._stop = threading.Event()
        self._held = contextlib.ExitStack()
        if terminal:
            self._master, slave = os.openpty()
            self._held.callback(os.close, self._master)
            self._held.callback(os.close, slave)  # open, so that the master never sees an end
            os.set_blocking(self._master, False)
            _raw(slave)
            self.url = os.ttyname(slave)
            work = self._serve_terminal
        else:
            self._listener = self._held.enter_context(socket.create_server(("127.0.0.1", 0)))
            self._listener.settimeout(0.05)
            self.url = f"socket://127.0.0.1:{self._listener.getsockname()[1]}"
            work = self._serve_socket
        self._thread = threading.Thread(target=work, name="simulated table", daemon=True)
        self._thread.start()

    def close(self) -> None:
        self._stop.set()
        self._thread.join(5)
        self._held.close()

    def __enter__(self) -> TableServer:
        return self

    def __exit__(self, *exc_info) -> None:
        self.close()

    def _serve_socket(self) -> None:
        while not self._stop.is_set():
            try:
                peer, _ = self._listener.accept()
            except TimeoutError:
                continue
            with peer, contextlib.suppress(OSError):
                peer.setblocking(False)
                self._talk(peer.fileno())

    def _serve_terminal(self) -> None:
        self._talk(self._master)

    def _talk(self, descriptor: int) -> None:
        """Until the other end is gone: a table left without a program gets no next command."""
        with self.lock:
            self.table.plug_in()
        waiting = b""  # what the other end has not taken yet; it may never read at all
        while not self._stop.is_set():
            ready, _, _ = select.select([descriptor], [], [], 0.001)
            data = os.read(descriptor, 4096) if ready else None
            if data == b"":
                return
            with self.lock:
                if data is not None:
                    self.table.receive(data)
                waiting = (waiting + self.table.take())[-KEPT_BYTES:]
            if waiting:
                with contextlib.suppress(BlockingIOError):
                    waiting = waiting[os.write(descriptor, waiting) :]


def _raw(descriptor: int) -> None:
    import termios
    import tty

    tty.setraw(descriptor, termios.TCSANOW)
