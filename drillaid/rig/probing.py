"""Which cameras are plugged in: device numbers tried one after the other, each with a deadline."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from drillaid.errors import DrillaidError
from drillaid.rig.sources import open_camera

OPEN_S, READ_S = 4.0, 3.0
MOST = 10  # numbers tried where the system does not list its devices


@dataclass(frozen=True)
class FoundCamera:
    """source: for `open_camera`; size_px: (width, height) of the picture that came"""

    source: str
    size_px: tuple[int, int]


def device_numbers() -> tuple[str, ...]:
    """Numbers worth trying: those the system lists, else 0 to MOST - 1."""
    if not sys.platform.startswith("linux"):
        return tuple(map(str, range(MOST)))
    nodes = (path.name.removeprefix("video") for path in Path("/dev").glob("video*"))
    return tuple(sorted((n for n in nodes if n.isdigit()), key=int))


def find_cameras(
    numbers: Sequence[str] | None = None,
    *,
    busy: str = "",
    stop: threading.Event | None = None,
    found: Callable[[FoundCamera], None] | None = None,
    opener=open_camera,
) -> tuple[FoundCamera, ...]:
    """Those that deliver a picture; nothing about a camera is changed but its picture's size.

    numbers: None for `device_numbers`; busy: the one in use here, which is left alone
    stop: ends the search before the next number; found: called with each at once
    Where the system lists nothing, two silent numbers in a row end the search.
    """
    listed = numbers is not None or sys.platform.startswith("linux")
    seen: list[FoundCamera] = []
    silent = 0
    for number in device_numbers() if numbers is None else numbers:
        if stop is not None and stop.is_set():
            break
        if number == busy:
            silent = 0
            continue
        camera = _tried(number, opener)
        silent = 0 if camera is not None else silent + 1
        if camera is not None:
            seen.append(camera)
            if found is not None:
                found(camera)
        if not listed and silent >= 2:
            break
    return tuple(seen)


def _tried(number: str, opener) -> FoundCamera | None:
    try:
        with opener(number, hold=False, open_timeout_s=OPEN_S) as camera:
            frame = camera.read(READ_S)
    except DrillaidError:
        return None
    if frame is None:
        return None
    height, width = frame.image.shape[:2]
    return FoundCamera(number, (width, height))
