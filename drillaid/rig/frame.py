"""What a camera source delivers, whatever it is: real, recorded or simulated."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np


@dataclass(frozen=True, eq=False)
class Frame:
    """One picture. image: uint8 (H, W, 3), BGR as OpenCV has it, read-only by agreement.

    number counts up from 0 at the source, gaps are frames dropped;
    time_s is the source's monotonic clock when the picture was taken.
    """

    image: np.ndarray
    number: int
    time_s: float


class Camera(Protocol):
    """Sources of frames. `read` waits at most timeout_s.

    `read` raises CameraTimeout (nothing new yet), CameraLost (gone; the caller
    may call `reopen`), and returns None at the natural end of a recording.
    live: pictures come whether read or not; False for what waits for its reader.
    Use as a context manager; `close` may be called twice.
    """

    name: str
    live: bool

    def read(self, timeout_s: float = 2.0) -> Frame | None: ...

    def reopen(self) -> None: ...

    def close(self) -> None: ...

    def __enter__(self) -> Camera: ...

    def __exit__(self, *exc_info) -> None: ...
