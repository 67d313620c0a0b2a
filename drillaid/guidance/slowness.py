"""Does guidance keep up with the hand? Said when it does not, and taken back when it does again."""

from __future__ import annotations

from collections import deque
from statistics import median

LIMIT_MS = 200.0  # at 20 mm/s the board is 4 mm further by then; people follow some 0.2 s late
BACK_MS = 150.0
FRAMES = 20  # pictures it must hold for: one that was late means nothing


class Slowness:
    """latency_ms: from the picture's being taken to its guidance."""

    def __init__(self) -> None:
        self._last: deque[float] = deque(maxlen=FRAMES)
        self._slow = False

    def look(self, latency_ms: float | None) -> str | None:
        """The sentence while it is slow, else None. None as latency: no new picture."""
        if latency_ms is not None:
            self._last.append(latency_ms)
        if len(self._last) == FRAMES:
            usual = median(self._last)
            self._slow = usual > (BACK_MS if self._slow else LIMIT_MS)
            if self._slow:
                return (
                    f"This computer is slow: the picture is {usual / 1000:.1f} s old. Push slowly, "
                    "wait before you drill, and close other programs."
                )
        return None
