"""A simulated workshop in which calibrating can be practised: sheet, bench, scrap and a knock.

One true camera stands behind all of it, so that what is calibrated here step by step
belongs together. The pages get pictures from it as from any camera and nothing else.
"""

from __future__ import annotations

import threading

import numpy as np

from calibration.pattern import Pattern
from calibration.practice import sheet_of
from calibration.practice_camera import PracticeCamera
from drillaid.rig.frame import Camera
from drillaid.simulation.bench import SimulatedBench
from drillaid.simulation.camera import SimulatedCamera
from drillaid.simulation.prints import Print, knocked, marks_in_corners
from drillaid.simulation.rigs import nominal_rig
from drillaid.simulation.scrap import scrap_bench

PATTERN = Pattern(18, 10, 6.0)  # so that the whole sheet lies in view
VIEW_MM = 115.0  # across the picture
FPS = 6.0
SCRAP_MM = (140.0, 95.0)  # fills the picture, as people are asked to choose it
TILT_RAD = 0.06
KNOCK_MM, KNOCK_RAD = (1.2, -0.8, 0.4), (0.004, -0.003, 0.006)
BARE, SHEET_HELD, SHEET_LYING, SCRAP = "bare", "sheet held", "sheet lying", "scrap"


class Workshop:
    """seed: of the camera and of all that happens; size: (width, height) px"""

    def __init__(self, seed: int, size: tuple[int, int] = (1920, 1080)) -> None:
        self.seed, self.size, self.pattern = seed, size, PATTERN
        self.rig = nominal_rig(
            *size, VIEW_MM / size[0], tilt_rad=TILT_RAD, tilt_direction_rad=seed, seed=seed
        )
        self.holes = 0
        self._knocked = False
        self._lock = threading.Lock()
        self._bench: SimulatedBench | None = None
        self._scrap: SimulatedBench | None = None

    def camera(self, scene: str, thickness_mm: float = 1.6) -> Camera:
        """A camera at what lies there now; scene: one of the four above. Slow: call off the UI."""
        if scene == SHEET_HELD:
            return PracticeCamera(self.pattern, self.size, self.seed)
        with self._lock:
            bench = self._at_bench()
            if scene == SCRAP:
                if self._scrap is None or self._scrap.thickness_mm != thickness_mm:
                    self._scrap = self._drilled(bench, thickness_mm)
                bench = self._scrap
            else:
                self._lay(bench, lying=scene == SHEET_LYING)
        return SimulatedCamera(bench, FPS, realtime=True, name="simulated workshop")

    def drill_scrap(self) -> None:
        """The next picture of scrap shows a fresh hole in a fresh place."""
        with self._lock:
            self.holes += 1
            self._scrap = None

    def knock(self) -> None:
        """Somebody runs into the arm."""
        with self._lock:
            self._knocked = not self._knocked
            moved = knocked(self.rig, KNOCK_MM, KNOCK_RAD) if self._knocked else self.rig
            self._scrap = None
            if self._bench is not None:
                self._bench.knock(moved)

    def _at_bench(self) -> SimulatedBench:
        if self._bench is None:
            self._bench = SimulatedBench(
                None, self.rig, sheet="grey", clutter=3, seed=self.seed,
                prints=marks_in_corners(self.rig, 4, seed=self.seed),
            )  # fmt: skip
            if self._knocked:
                self._bench.knock(knocked(self.rig, KNOCK_MM, KNOCK_RAD))
        return self._bench

    def _lay(self, bench: SimulatedBench, *, lying: bool) -> None:
        marks = marks_in_corners(self.rig, 4, seed=self.seed)
        sheet = Print(sheet_of(self.pattern, 3.0), (1.0, -1.5), 0.05)
        bench.lay(*((sheet,) if lying else ()), *marks)

    def _drilled(self, bench: SimulatedBench, thickness_mm: float) -> SimulatedBench:
        """Clamped scrap in which the bit came down, wandering as bits do."""
        seed = 100 * self.seed + self.holes
        rng = np.random.default_rng([seed, 47])
        scrap = scrap_bench(bench, seed, bit_mm=None, size_mm=SCRAP_MM, thickness_mm=thickness_mm)
        scrap.place(*rng.uniform(-4, 4, 2), rng.uniform(-0.06, 0.06))
        axis = scrap.spindle_mm + rng.normal(0, bench.wander_sigma_mm, 2)
        scrap.board.drill(scrap.truth.inverse(axis)[0], 1.0)
        return scrap
