"""`calibrate lens --camera sim`: a sheet moved by a simulated hand under a simulated camera.

The hand knows nothing of what calibration asks for: it shows the sheet from one side
after the other, holds it still for a moment and moves on, as a willing person does.
"""

from __future__ import annotations

import cv2
import numpy as np

from calibration.pattern import Pattern
from calibration.practice import pose_over, sheet_of
from drillaid.errors import CameraLost
from drillaid.rig.frame import Frame
from drillaid.rig.rig import Rig
from drillaid.simulation.optics import Optics
from drillaid.simulation.rigs import nominal_rig
from drillaid.simulation.sheet import SheetCamera

FPS = 4.0
MOVE_FRAMES, HOLD_FRAMES = 2, 3
TREMOR_RAD, TREMOR_MM = 2e-5, 0.003
SMEAR_PX = 9.0


class PracticeCamera:
    """A source of frames (`drillaid.rig.frame.Camera`) with a virtual clock.

    rig: the true camera, for tests to hold the calibration against
    """

    live = False

    def __init__(self, pattern: Pattern, size: tuple[int, int] = (1920, 1080), seed: int = 1):
        self.name = "simulated camera over a sheet"
        self.rig: Rig = nominal_rig(*size, seed=seed)
        self.pattern = pattern
        self._rng = np.random.default_rng([seed, 23])
        sheet = sheet_of(pattern)
        self._sharp = SheetCamera(self.rig, sheet, optics=Optics(noise=2.0), seed=seed)
        smear = Optics(noise=2.0, motion_px=(SMEAR_PX * size[0] / 1920, 3.0))
        self._smeared = SheetCamera(self.rig, sheet, optics=smear, seed=seed)
        self._number, self._closed = 0, False
        self._turns = 0
        self._from = self._to = self._next_pose()

    def read(self, timeout_s: float = 2.0) -> Frame:
        if self._closed:
            raise CameraLost(f"The camera ({self.name}) was closed.")
        phase = self._number % (MOVE_FRAMES + HOLD_FRAMES)
        if phase == 0:
            self._from, self._to = self._to, self._next_pose()
        if phase < MOVE_FRAMES:
            share = (phase + 0.5) / MOVE_FRAMES
            pose = self._from + share * (self._to - self._from)
            image = self._smeared.picture(*_six(pose))
        else:
            shake = self._rng.normal(0, [TREMOR_RAD] * 3 + [0, 0, TREMOR_MM])
            image = self._sharp.picture(*_six(self._to + shake))
        image.setflags(write=False)
        frame = Frame(image, self._number, self._number / FPS)
        self._number += 1
        return frame

    def _next_pose(self) -> np.ndarray:
        """(6,) turn (rad), point of the sheet on the axis (mm), distance (mm).

        The tilt goes round the sheet and the part that is shown goes round the picture.
        """
        rng, width, height = self._rng, *self.pattern.size_mm
        focal = self.rig.matrix[0, 0] / self.rig.width
        fills = width * focal  # distance at which it fills the picture
        distance = fills * rng.uniform(0.55, 1.1)
        step = self._turns
        self._turns += 1
        tilt = 0.0 if step == 0 else rng.uniform(0.3, 0.6)
        way = step * np.pi / 2 + rng.normal(0, 0.3)
        turn = _turned(way, tilt, rng.normal(0, 0.15))
        part = np.array([(step // 2) % 2, (step // 3) % 2]) * 0.5 + 0.25 + rng.normal(0, 0.08, 2)
        if step == 0:
            part = np.array([0.5, 0.5])
        return np.array([*turn, *(part * (width, height)), distance])

    def reopen(self) -> None:
        self._closed = False

    def close(self) -> None:
        self._closed = True

    def __enter__(self) -> PracticeCamera:
        return self

    def __exit__(self, *exc_info) -> None:
        self.close()


def _six(pose: np.ndarray):
    return pose_over(pose[3:5], pose[5], pose[:3])


def _turned(way_rad: float, tilt_rad: float, roll_rad: float) -> np.ndarray:
    """Rodrigues vector of a roll in the sheet's plane and then a tilt about `way`."""
    axis = np.array([np.cos(way_rad), np.sin(way_rad), 0.0]) * tilt_rad
    turn = cv2.Rodrigues(axis)[0] @ cv2.Rodrigues(np.array([0.0, 0.0, roll_rad]))[0]
    return cv2.Rodrigues(turn)[0].ravel()
