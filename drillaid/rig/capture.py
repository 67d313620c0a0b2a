"""Devices and streams: a thread grabs without pause, `read` hands out the newest.

The driver is called from that thread only, because its calls may block for
many seconds; nobody else ever waits longer than the deadline given.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import cv2
import numpy as np

from drillaid.errors import CameraError, CameraLost, CameraTimeout
from drillaid.rig.controls import ask_for, hold_still
from drillaid.rig.frame import Frame
from drillaid.rig.quiet import silence

SETTLE_FRAMES = 20  # until the camera's automatics have found their values
CLOSE_S = 2.0


class _Grabber:
    """One opening of the source: a thread that opens, grabs and releases."""

    def __init__(self, source: CaptureCamera, first_number: int):
        self._source = source
        self.next_number = first_number
        self.changed = threading.Condition()
        self.opened = self.done = self.ended = False
        self.error: CameraError | None = None
        self.frame: Frame | None = None
        self._stop = threading.Event()
        self.thread = threading.Thread(target=self._run, name=f"camera {source.name}", daemon=True)
        self.thread.start()

    def stop(self) -> None:
        self._stop.set()
        with self.changed:
            self.changed.notify_all()

    @property
    def stopping(self) -> bool:
        return self._stop.is_set()

    def _run(self) -> None:
        capture = None
        try:
            capture = self._source.make()
            if self.stopping:
                return
            if not capture.isOpened():
                raise CameraError(self._source.cannot_open())
            if self._source.size is not None:
                self._source.settings.update(ask_for(capture, self._source.size))
            with self.changed:
                self.opened = True
                self.changed.notify_all()
            self._grab(capture)
        except CameraError as error:
            self.error = error
        except Exception as error:  # noqa: BLE001 - a driver may raise anything
            self.error = CameraLost(
                f"{self._source.name}: the driver failed ({type(error).__name__}: "
                f"{' '.join(str(error).split())[:120]}); unplug the camera and plug it in again."
            )
        finally:
            if capture is not None:
                capture.release()
            with self.changed:
                self.done = True
                self.changed.notify_all()

    def _grab(self, capture) -> None:
        source = self._source
        good = 0
        heard = time.monotonic()
        shape = None
        while not self.stopping:
            if capture.grab():
                taken = _taken_at(capture, time.monotonic())
                image = _as_bgr(capture)
                if image is not None and shape in (None, image.shape):
                    shape = image.shape
                    heard = time.monotonic()
                    good += 1
                    self._publish(image, taken)
                    if good == SETTLE_FRAMES and source.size is not None and source.hold:
                        source.settings.update(hold_still(capture))
                    continue
                source.bad_frames += 1
            elif _at_end(capture):
                self.ended = True
                return
            if time.monotonic() - heard > source.lost_after_s:
                raise CameraLost(
                    f"{source.name} stopped delivering pictures; check its cable and power."
                )
            self._stop.wait(0.01)

    def _publish(self, image: np.ndarray, taken: float) -> None:
        image.setflags(write=False)
        with self.changed:
            self.frame = Frame(image, self.next_number, taken)
            self.next_number += 1
            self.changed.notify_all()


def _taken_at(capture, now: float) -> float:
    """When the driver filled the buffer, if it says so on our clock; else now."""
    try:
        if capture.getBackendName() == "V4L2":
            stamp = capture.get(cv2.CAP_PROP_POS_MSEC) / 1000
            if 0 <= now - stamp < 1:
                return stamp
    except (cv2.error, AttributeError, TypeError):
        pass
    return now


def _as_bgr(capture) -> np.ndarray | None:
    """The grabbed picture as uint8 (H, W, 3), None for garbage."""
    ok, image = capture.retrieve()
    if not ok or not isinstance(image, np.ndarray) or image.dtype != np.uint8:
        return None
    if image.ndim == 2:
        image = cv2.cvtColor(image, cv2.COLOR_GRAY2BGR) if image.size else image
    elif image.ndim == 3 and image.shape[2] == 4:
        image = cv2.cvtColor(image, cv2.COLOR_BGRA2BGR)
    if image.ndim != 3 or image.shape[2] != 3 or min(image.shape[:2]) < 16:
        return None
    return image


def _at_end(capture) -> bool:
    """Whether a stream with a known length has been read to it."""
    count = capture.get(cv2.CAP_PROP_FRAME_COUNT)
    return bool(count and count > 0 and capture.get(cv2.CAP_PROP_POS_FRAMES) >= count - 1)


class CaptureCamera:
    """A device or stream behind `Camera`.

    make: opens it and returns a cv2.VideoCapture or the like; called in a thread
    size: (width, height) px to ask a device for, None for streams
    settings: what was asked of the device and what it made of it
    bad_frames: pictures dropped because they were garbage
    Raises CameraError from the constructor and `reopen`.
    """

    live = True

    def __init__(
        self,
        make: Callable[[], object],
        name: str,
        *,
        size: tuple[int, int] | None = None,
        hold: bool = True,
        open_timeout_s: float = 10.0,
        lost_after_s: float = 1.0,
        hint: str = "check the address, the cable and that no other program uses it",
    ):
        self.make, self.name, self.size, self.hold = make, name, size, hold
        self.open_timeout_s, self.lost_after_s, self._hint = open_timeout_s, lost_after_s, hint
        self.settings: dict[str, dict] = {}
        self.bad_frames = 0
        self._seen = -1
        self._closed = threading.Event()
        silence()
        self._grabber = self._open(0)

    def cannot_open(self) -> str:
        return f"{self.name} cannot be opened; {self._hint}."

    def _open(self, first_number: int) -> _Grabber:
        grabber = self._grabber = _Grabber(self, first_number)
        with grabber.changed:
            grabber.changed.wait_for(
                lambda: grabber.opened or grabber.done or grabber.stopping, self.open_timeout_s
            )
        if grabber.opened:
            return grabber
        grabber.stop()  # should the driver ever return, the thread releases the device
        if grabber.done:
            grabber.thread.join(CLOSE_S)
        raise grabber.error or CameraTimeout(
            f"{self.name} did not open within {self.open_timeout_s:g} s; {self._hint}."
        )

    def reopen(self) -> None:
        """Closes and opens again; frame numbers go on. Raises CameraError.

        A thread still stuck in the driver is waited for, never doubled.
        """
        if self._closed.is_set():
            raise CameraError(f"{self.name} has been closed.")
        old = self._grabber
        old.stop()
        old.thread.join(CLOSE_S)
        if old.thread.is_alive():
            raise CameraLost(f"{self.name}: the driver does not answer; unplug the camera.")
        self._open(old.next_number)

    def read(self, timeout_s: float = 2.0) -> Frame | None:
        """The newest frame not yet handed out."""
        grabber = self._grabber
        with grabber.changed:
            grabber.changed.wait_for(
                lambda: self._fresh(grabber) or grabber.done or grabber.stopping, max(0, timeout_s)
            )
            if self._closed.is_set():
                raise CameraError(f"{self.name} has been closed.")
            if self._fresh(grabber):
                self._seen = grabber.frame.number
                return grabber.frame
        if grabber.ended:
            return None
        if grabber.done:
            raise grabber.error or CameraLost(f"{self.name} has been closed by its driver.")
        raise CameraTimeout(f"{self.name} delivered no picture within {timeout_s:g} s.")

    def _fresh(self, grabber: _Grabber) -> bool:
        return grabber.frame is not None and grabber.frame.number > self._seen

    def close(self) -> None:
        """Waits at most CLOSE_S; a thread stuck in the driver ends by itself when that returns."""
        self._closed.set()
        self._grabber.stop()
        self._grabber.thread.join(CLOSE_S)

    def __enter__(self) -> CaptureCamera:
        return self

    def __exit__(self, *exc_info) -> None:
        self.close()
