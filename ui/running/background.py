"""Slow work off the UI thread: one function, one result, back by a signal."""

from __future__ import annotations

import logging
import threading
import time
from collections.abc import Callable

from PyQt6.QtCore import QObject, pyqtSignal

from drillaid.errors import DrillaidError

LEAVE_S = 20.0  # how long closing waits for work that cannot be broken off


class Background(QObject):
    """Runs one piece of work at a time in a thread of its own; a newer one supersedes it.

    done(result), failed(sentence): for the newest piece only; both on the UI thread.
    """

    done = pyqtSignal(object)
    failed = pyqtSignal(str)
    _ended = pyqtSignal(int, object, object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._newest = 0
        self._threads: list[threading.Thread] = []
        self._ended.connect(self._report)

    @property
    def busy(self) -> bool:
        return any(thread.is_alive() for thread in self._threads)

    def start(self, work: Callable[[], object]) -> None:
        """work: touches no widget; DrillaidError becomes `failed` with its sentence."""
        self._newest += 1
        self._threads = [thread for thread in self._threads if thread.is_alive()]
        thread = threading.Thread(target=self._run, args=(self._newest, work), daemon=True)
        self._threads.append(thread)
        thread.start()

    def forget(self) -> None:
        """What is still running reports to nobody."""
        self._newest += 1

    def wait(self, timeout_s: float) -> None:
        """Until what runs has ended, at most so long; what it brings is still reported."""
        end = time.monotonic() + timeout_s
        for thread in tuple(self._threads):
            thread.join(max(0.0, end - time.monotonic()))

    def close(self) -> None:
        self.forget()
        for thread in self._threads:
            thread.join(LEAVE_S)

    def _run(self, number: int, work: Callable[[], object]) -> None:
        result = failure = None
        try:
            result = work()
        except DrillaidError as error:
            failure = str(error)
        except Exception:  # noqa: BLE001 - a fault of ours must not take the window along
            logging.getLogger("drillaid").exception("work beside the window failed")
            failure = "Something went wrong inside the program; what was done is kept."
        try:
            self._ended.emit(number, result, failure)
        except RuntimeError:  # the window is gone already
            pass

    def _report(self, number: int, result, failure) -> None:
        if number != self._newest:
            return
        if failure is None:
            self.done.emit(result)
        else:
            self.failed.emit(failure)
