"""A camera that plays a script, and a finder whose answers the test writes."""

from __future__ import annotations

import numpy as np

from drillaid.errors import CameraError
from drillaid.registration.result import NOT_FOUND, REGISTERED, Placement, Registration
from drillaid.rig.frame import Frame

IMAGE = np.zeros((16, 16, 3), np.uint8)


class ScriptedCamera:
    """script: a number is a frame that many seconds after the last; an exception is raised;
    None is the end. reopen_fails: how many attempts to open it again fail."""

    name, live = "scripted camera", False

    def __init__(self, script, *, reopen_fails: int = 0) -> None:
        self.script, self.reopen_fails = list(script), reopen_fails
        self.time_s, self.number, self.reopened = 0.0, -1, 0

    def read(self, timeout_s: float = 2.0) -> Frame | None:
        now = self.script.pop(0)
        if isinstance(now, Exception):
            self.time_s += timeout_s
            raise now
        if now is None:
            return None
        self.time_s += now
        self.number += 1
        return Frame(IMAGE, self.number, self.time_s)

    def reopen(self) -> None:
        self.reopened += 1
        if self.reopen_fails:
            self.reopen_fails -= 1
            raise CameraError("scripted camera: still unplugged.")


def registered(view) -> Registration:
    """A registration as a picture would give it, from a `RegistrationView`."""
    holes = len(view.expected_error_mm)
    points = np.zeros((holes, 2))
    placement = Placement(
        "rigid", None, view.matrix, points, points, view.expected_error_mm,
        np.ones(holes, bool), 0.01, 10.0,
    )  # fmt: skip
    return Registration(REGISTERED, "found", placement)


def unseen(reason: str = "too few pads agree") -> Registration:
    return Registration(NOT_FOUND, reason)


class WrittenFinder:
    """Answers each picture with what `answer()` gives; counts what was forgotten."""

    def __init__(self, answer) -> None:
        self.answer, self.forgotten = answer, 0

    def look(self, image) -> Registration:
        return self.answer()

    def forget(self) -> None:
        self.forgotten += 1
