"""Looks at the board after a motion: only pictures taken since then count, each wait has an end."""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass

import numpy as np

from drillaid.errors import BoardLost, CameraLost, CameraTimeout, CannotPlace
from drillaid.registration.result import Registration
from drillaid.rig.frame import Camera, Frame

READ_S = 0.05  # between two looks at what else goes on
PICTURE_S = 3.0  # without a new picture for so long: the camera has failed
FIND_S = 4.0  # in pictures, but not found for so long …
FIND_PICTURES = 4  # … and in so many: the board is lost
LATE_S = 0.08  # a live picture may have been exposed so long before it was handed over


@dataclass(frozen=True, eq=False)
class Look:
    """One picture and where the board lies in it."""

    frame: Frame
    registration: Registration

    @property
    def time_s(self) -> float:
        return self.frame.time_s

    def bench_mm(self, xy_mm) -> np.ndarray:
        """Design (2,) -> bench (2,), on the board's upper face."""
        return self.registration.placement.matrix(xy_mm)[0]

    def expected_error_mm(self, hole: int) -> float:
        """One sigma of the distance; inf where nothing is known."""
        errors = self.registration.placement.expected_error_mm
        return float(errors[hole - 1]) if 0 < hole <= len(errors) else float("inf")


class Eye:
    """finder: `guidance.finder.BoardFinder` or its like; clock: of the camera's frames;
    check: raises InputError for a picture that does not suit the rig;
    watch: `rig.still_true.RigWatch`, or None: a rig that has moved is no rig."""

    def __init__(
        self,
        camera: Camera,
        finder,
        clock: Callable[[], float],
        *,
        check: Callable[[Frame], None] | None = None,
        watch=None,
    ) -> None:
        self.camera, self.finder, self.clock = camera, finder, clock
        self._check, self._watch = check, watch
        self._late_s = LATE_S if camera.live else 0.0
        self._last: np.ndarray | None = None
        self.frame: Frame | None = None
        self.registration: Registration | None = None

    def expect(self, shift_mm: np.ndarray) -> None:
        """By about so far, (2,), bench, the board will have gone when it is looked at next."""
        self.finder.expect(shift_mm)

    def look(self, after_s: float) -> Generator[None, None, Look]:
        """The board's place in a picture taken after after_s.

        CameraLost or CameraTimeout without such a picture, BoardLost if it is in none.
        """
        begun, tried, why = self.clock(), 0, ""
        while True:
            frame = yield from self._newer(after_s + self._late_s)
            after_s = max(after_s, frame.time_s - self._late_s)
            self.frame = frame
            verdict = None if self._watch is None else self._watch.look(frame.image, frame.time_s)
            if verdict is not None and not verdict.holds:
                raise CannotPlace(verdict.message)
            self.registration = registration = self.finder.look(frame.image)
            placement = registration.placement
            if placement is not None and placement.matrix is not None:
                if np.isfinite(placement.matrix.matrix).all():
                    return Look(frame, registration)
            tried, why = tried + 1, registration.message.rstrip(".")
            if tried >= FIND_PICTURES and self.clock() - begun >= FIND_S:
                raise BoardLost(f"The board is not found any more: {why}.")
            yield

    def _newer(self, after_s: float) -> Generator[None, None, Frame]:
        begun = self.clock()
        while True:
            try:
                frame = self.camera.read(READ_S)
            except CameraTimeout:
                frame = None
            else:
                if frame is None:
                    raise CameraLost(f"The pictures of {self.camera.name} have come to an end.")
            if frame is not None and frame.time_s > after_s:
                if self._check is not None:
                    self._check(frame)
                if not self._same(frame.image):
                    return frame
            if self.clock() - begun > PICTURE_S:
                what = "only the same picture" if frame is not None else "no new picture"
                raise CameraTimeout(
                    f"There was {what} from {self.camera.name} for {PICTURE_S:g} s."
                )
            yield

    def _same(self, image: np.ndarray) -> bool:
        """No sensor gives the same noise twice: an equal picture is an old one."""
        sample, last = image[::16, ::16].copy(), self._last
        self._last = sample
        return last is not None and np.array_equal(last, sample)
