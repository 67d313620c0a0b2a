"""What a test must not leave behind or say: threads, log records, Qt messages."""

from __future__ import annotations

import logging
import threading
import time

# Threads of the test machinery itself.
_OURS = ("pytest_timeout", "execnet", "ThreadPoolExecutor-execnet")


def leaked_threads(before: set[threading.Thread], patience_s: float = 1.0) -> list[str]:
    """Names of threads begun since `before` that do not end within the patience."""
    end = time.monotonic() + patience_s
    while True:
        alive = [
            thread
            for thread in threading.enumerate()
            if thread not in before
            and thread.is_alive()
            and not thread.name.startswith(_OURS)
            and not isinstance(thread, threading._DummyThread)  # begun outside Python, by Qt
        ]
        if not alive or time.monotonic() > end:
            return [thread.name for thread in alive]
        time.sleep(0.005)


class LogKeeper(logging.Handler):
    """Keeps records of level WARNING and above."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.records: list[logging.LogRecord] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.records.append(record)
