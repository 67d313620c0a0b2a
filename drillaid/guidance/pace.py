"""Time left, from how long the last holes took."""

from __future__ import annotations

from collections import deque
from statistics import median

_LAST = 15
_ENOUGH = 3


class Pace:
    """Times of holes and of bit changes; an interrupted one is not counted.

    The median of the last 15 stops: one hole that took a coffee changes nothing.
    """

    def __init__(self, bit_change_s: float) -> None:
        self._stops: deque[float] = deque(maxlen=_LAST)
        self._changes: deque[float] = deque([bit_change_s], maxlen=3)
        self._since: float | None = None

    def begin(self, now_s: float) -> None:
        """Something to be timed begins: a stop or a bit change."""
        self._since = now_s

    def interrupt(self) -> None:
        self._since = None

    def stop_done(self, now_s: float) -> None:
        self._count(self._stops, now_s)

    def bit_changed(self, now_s: float) -> None:
        self._count(self._changes, now_s)

    def _count(self, times: deque[float], now_s: float) -> None:
        if self._since is not None and now_s > self._since:
            times.append(now_s - self._since)
        self._since = now_s

    def left_s(self, stops: int, bit_changes: int) -> float | None:
        """None before three stops have been timed."""
        if stops == 0:
            return 0.0
        if len(self._stops) < _ENOUGH:
            return None
        return median(self._stops) * stops + median(self._changes) * bit_changes
