"""A thread between a camera and who uses it: the newest frame, a state, and reopening.

A live source must be read faster than it delivers, or old pictures queue up
and the hand is guided by the past. A recording or a simulation (`live` False)
waits instead until its picture is taken, so that none is missed.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

import numpy as np

from drillaid.errors import CameraError, CameraLost, CameraTimeout, DrillaidError, InputError
from drillaid.rig.frame import Camera, Frame

STATES = ("waiting", "live", "frozen", "lost", "ended")
POLL_S = 0.2
BLACK = 1  # grey levels


class NewestFrame:
    """Reads `camera` in a thread; is a `Camera` itself.

    state: "waiting" for pictures, "live", "frozen" (the same picture again and
    again: withheld, since nobody should drill by it), "lost" (reopening with
    pauses backoff_s[0], doubled up to backoff_s[1]), "ended".
    message: the state as a sentence; dropped: frames nobody took in time.
    on_state: called as on_state(state, message) from the thread.
    clock, pause: for tests; pause(seconds) -> True to stop waiting.
    """

    def __init__(
        self,
        camera: Camera,
        *,
        frozen_after_s: float = 1.0,
        waiting_after_s: float = 1.0,
        lost_after_s: float = 5.0,
        backoff_s: tuple[float, float] = (0.5, 8.0),
        on_state: Callable[[str, str], None] | None = None,
        clock: Callable[[], float] = time.monotonic,
        pause: Callable[[float], bool] | None = None,
    ):
        self.camera, self.name = camera, camera.name
        self.live = getattr(camera, "live", True)
        self.dropped = 0
        self._frozen_after_s, self._waiting_after_s = frozen_after_s, waiting_after_s
        self._lost_after_s, self._backoff_s = lost_after_s, backoff_s
        self._pause_s = backoff_s[0]
        self._on_state, self._clock = on_state, clock
        self._stop = threading.Event()
        self._pause = pause or self._stop.wait
        self._changed = threading.Condition()
        self._state, self._message = "waiting", f"{self.name}: no picture yet."
        self._slot: Frame | None = None
        self._failure: BaseException | None = None
        self._gone = False  # lost, and nobody is trying any more
        self._last: np.ndarray | None = None
        self._heard = self._moved = clock()
        self._thread = threading.Thread(target=self._run, name=f"reader {self.name}", daemon=True)
        self._thread.start()

    @property
    def state(self) -> str:
        return self._state

    @property
    def message(self) -> str:
        return self._message

    def read(self, timeout_s: float = 2.0) -> Frame | None:
        """The newest frame not yet handed out; None once a recording has ended.

        At the deadline CameraLost if the source is lost (it goes on being
        reopened), else CameraTimeout. A still that cannot be read raises its
        PictureError once.
        """
        with self._changed:
            self._changed.wait_for(self._anything, max(0.0, timeout_s))
            if self._stop.is_set():
                raise CameraError(f"{self.name} has been closed.")
            if self._slot is not None:
                frame, self._slot = self._slot, None
                self._changed.notify_all()
                return frame
            if self._failure is not None:
                failure, self._failure = self._failure, None
                self._changed.notify_all()
                raise failure
            if self._state == "ended":
                return None
            raise (CameraLost if self._state == "lost" else CameraTimeout)(self._message)

    def _anything(self) -> bool:
        return bool(
            self._slot is not None
            or self._failure is not None
            or self._gone
            or self._state == "ended"
            or self._stop.is_set()
        )

    def wait_for_state(self, *states: str, timeout_s: float = 5.0) -> bool:
        """Waits until the state is one of these; False at the deadline."""
        with self._changed:
            return self._changed.wait_for(lambda: self._state in states, timeout_s)

    def close(self, timeout_s: float = 3.0) -> None:
        """Stops the thread and closes the camera; may be called twice."""
        self._stop.set()
        with self._changed:
            self._changed.notify_all()
        # First let it come back by itself: not every camera may be closed
        # under a reader's hands. Then closing is what frees it.
        self._thread.join(timeout_s / 2)
        self.camera.close()
        self._thread.join(timeout_s / 2)

    def __enter__(self) -> NewestFrame:
        return self

    def __exit__(self, *exc_info) -> None:
        self.close()

    # What follows runs in the thread.

    def _run(self) -> None:
        try:
            while not self._stop.is_set() and self._step():
                pass
        except Exception as error:  # noqa: BLE001 - must reach the reader, not vanish
            with self._changed:
                self._failure, self._gone = error, True
                self._state = "lost"
                self._message = f"{self.name}: the reader failed ({type(error).__name__})."
                self._changed.notify_all()

    def _step(self) -> bool:
        try:
            frame = self.camera.read(POLL_S)
        except CameraTimeout as error:
            quiet = self._clock() - self._heard
            if quiet > self._lost_after_s:
                return self._reopen(error)
            if quiet > self._waiting_after_s:
                self._become("waiting", f"{self.name}: no picture for {quiet:.0f} s.", forget=True)
            return True
        except InputError as error:  # one bad still of many
            return self._hand_over(failure=error)
        except DrillaidError as error:
            return not self._stop.is_set() and self._reopen(error)
        if frame is None:
            self._become("ended", f"{self.name}: the recording has ended.")
            return False
        self._pause_s = self._backoff_s[0]
        self._heard = self._clock()
        if self.live and self._frozen(frame.image):
            return True
        self._become("live", f"{self.name} delivers pictures.")
        return self._hand_over(frame=frame)

    def _frozen(self, image: np.ndarray) -> bool:
        """No sensor gives the same noise twice: equal pictures are one picture again."""
        last, self._last = self._last, image
        if last is None or not _equal(last, image):
            self._moved = self._heard
            return False
        still = self._heard - self._moved
        if still <= self._frozen_after_s:
            return False
        what = "the picture has frozen; do not drill by it, check the camera."
        if int(image.max()) <= BLACK:  # without any light there is no noise to tell by
            what = "the picture is black: take off the lens cap, switch on the light."
        self._become("frozen", f"{self.name}: {what}", forget=True)
        return True

    def _hand_over(self, frame: Frame | None = None, failure: Exception | None = None) -> bool:
        with self._changed:
            if self._slot is not None and frame is not None:
                self.dropped += 1
            self._slot = frame if frame is not None else self._slot
            self._failure = failure or self._failure
            self._changed.notify_all()
            while not self.live and not self._stop.is_set() and self._untaken():
                self._changed.wait(POLL_S)
        return not self._stop.is_set()

    def _untaken(self) -> bool:
        return self._slot is not None or self._failure is not None

    def _reopen(self, error: DrillaidError) -> bool:
        """Tries until it opens; False to give up (closed, or nothing to reopen)."""
        reopen = getattr(self.camera, "reopen", None)
        self._last = None
        while reopen is not None:
            again = f"{str(error).rstrip('.')}; trying again in {self._pause_s:g} s."
            self._become("lost", again, forget=True)
            if self._pause(self._pause_s) or self._stop.is_set():
                return False
            self._pause_s = min(self._pause_s * 2, self._backoff_s[1])
            try:
                reopen()
            except DrillaidError as failed:
                error = failed
                continue
            self._heard = self._moved = self._clock()
            self._become("waiting", f"{self.name} has been opened again.")
            return True
        with self._changed:
            self._gone = True
        self._become("lost", str(error), forget=True)
        return False

    def _become(self, state: str, message: str, *, forget: bool = False) -> None:
        with self._changed:
            new = state != self._state
            self._state, self._message = state, message
            if forget:
                self._slot = None  # a picture of a past that is over
            self._changed.notify_all()
        if new and self._on_state is not None:
            self._on_state(state, message)


def _equal(a: np.ndarray, b: np.ndarray) -> bool:
    """Equal pixel for pixel; a sample tells most apart at a hundredth of the cost."""
    return a.shape == b.shape and (a is b or (
        np.array_equal(a[::16, ::16], b[::16, ::16]) and np.array_equal(a, b)
    ))  # fmt: skip
