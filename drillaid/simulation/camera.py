"""The simulated bench as a camera source, with the faults real cameras have."""

from __future__ import annotations

import threading
import time

import numpy as np

from drillaid.errors import CameraLost, CameraTimeout
from drillaid.rig.frame import Frame
from drillaid.simulation.bench import SimulatedBench


class SimulatedCamera:
    """Delivers `bench` as a camera does (`drillaid.rig.frame.Camera`).

    realtime: False: a virtual clock that each read moves on by 1/fps, so that runs
      are the same on any computer; True: paced by the real clock, and a reader
      that is late misses frames (their numbers are skipped)
    live: as realtime; a virtual clock waits for its reader
    before_frame: called with the frame's time before each picture is taken: the
      place to move the bench
    """

    def __init__(self, bench: SimulatedBench, fps: float = 30.0, *, realtime: bool = False,
                 before_frame=None, name: str = "simulated bench"):  # fmt: skip
        if not fps > 0:
            raise ValueError(f"fps must be positive, not {fps}")
        self.bench, self.fps, self.name = bench, float(fps), name
        self.before_frame = before_frame
        self._realtime = self.live = realtime
        self._start = time.monotonic()
        self._time_s = self._due_s = 0.0
        self._number = 0
        self._closed = threading.Event()
        self._unplugged = self._lead_out = self._stalled = self._black = False
        self._frozen: np.ndarray | None = None

    @property
    def time_s(self) -> float:
        """The source's clock, s since it was opened."""
        return time.monotonic() - self._start if self._realtime else self._time_s

    def read(self, timeout_s: float = 2.0) -> Frame | None:
        """The next frame; CameraLost when unplugged, CameraTimeout when stalled."""
        if self._closed.is_set() or self._unplugged:
            raise CameraLost(f"The camera ({self.name}) is gone; plug it in again.")
        wait = max(0.0, self._due_s - self.time_s)
        if self._stalled or (self._realtime and wait > timeout_s):
            self._pass_time(timeout_s)
            raise CameraTimeout(f"No picture from {self.name} within {timeout_s:g} s.")
        self._pass_time(wait)
        taken = self.time_s
        missed = int((taken - self._due_s) * self.fps + 1e-6) if self._realtime else 0
        self._number += missed
        self._due_s = (self._due_s + missed / self.fps if self._realtime else taken) + 1 / self.fps
        if self.before_frame is not None:
            self.before_frame(taken)
        frame = Frame(self._picture(), self._number, taken)
        self._number += 1
        return frame

    def _pass_time(self, seconds: float) -> None:
        if not self._realtime:
            self._time_s += seconds
        elif seconds > 0 and self._closed.wait(seconds):
            raise CameraLost(f"The camera ({self.name}) was closed.")

    def _picture(self) -> np.ndarray:
        if self._frozen is not None:
            return self._frozen
        if self._black:
            return np.zeros((self.bench.rig.height, self.bench.rig.width, 3), np.uint8)
        image = self.bench.render()
        image.setflags(write=False)
        return image

    # --- faults ---------------------------------------------------------------------

    def unplug(self) -> None:
        """From now on `read` raises CameraLost, until `plug_in` and `reopen`."""
        self._unplugged = self._lead_out = True

    def plug_in(self) -> None:
        """The lead is back; the source still has to be reopened."""
        self._lead_out = False

    def reopen(self) -> None:
        """CameraLost while the lead is out."""
        if self._lead_out:
            raise CameraLost(f"The camera ({self.name}) is not there; plug it in.")
        self._unplugged = False
        self._closed.clear()

    def freeze(self, on: bool = True) -> None:
        """Repeats one picture with new numbers and times, as a hung driver does."""
        self._frozen = self.bench.render() if on else None

    def stall(self, on: bool = True) -> None:
        """Delivers nothing: `read` raises CameraTimeout."""
        self._stalled = on

    def black(self, on: bool = True) -> None:
        """Lens cap on, or the lamp out."""
        self._black = on

    # --- life -----------------------------------------------------------------------

    def close(self) -> None:
        self._closed.set()

    def __enter__(self) -> SimulatedCamera:
        return self

    def __exit__(self, *exc_info) -> None:
        self.close()
