"""From "the hole lies so far off" to where the table must go; learns from each longer way.

The camera measures the result, so the matrix of the rig need only be about right.
Its errors are estimated as the work goes on: for each row w of the matrix the
observation is "moving by t shifted the board by w . t", a linear Kalman filter
with constant state.
"""

from __future__ import annotations

import numpy as np

from drillaid.errors import OutOfReach
from drillaid.table.machine import Machine
from drillaid.table.setup import TableSetup

MATRIX_SIGMA = 0.01  # of each entry, where the rig says nothing
SHIFT_SIGMA_MM = 0.03  # backlash left over, steps lost, the picture
LEARNS_FROM_MM = 3.0  # shorter ways say little about the matrix
PAST_BACKLASH = 1.5  # the approach begins so many times the backlash before the place
LEAST_APPROACH_MM = 0.1


class Aimer:
    """matrix: (2, 2), board's bench mm per table mm, as known now."""

    def __init__(self, setup: TableSetup, matrix_sigma: float | None = None) -> None:
        self.matrix = setup.matrix.copy()
        self._setup = setup
        sigma = MATRIX_SIGMA if matrix_sigma is None else max(matrix_sigma, 1e-5)
        self._covariance = np.eye(2) * sigma**2
        back = setup.backlash_mm
        self._approach = np.where(back > 0, PAST_BACKLASH * back + LEAST_APPROACH_MM, 0.0)
        self._taken_up = self._approach == 0

    def target(self, here_mm: np.ndarray, off_mm: np.ndarray) -> np.ndarray:
        """(2,), table: where the board has moved by off_mm, bench."""
        return here_mm + np.linalg.solve(self.matrix, off_mm)

    def restart(self) -> None:
        """After homing: on which side the backlash lies is not known."""
        self._taken_up = self._approach == 0

    def observe(self, way_mm: np.ndarray, shift_mm: np.ndarray) -> np.ndarray:
        """way_mm: of the table, shift_mm: by which one point of the board was seen to shift
        meanwhile, bench. How far that is from what was expected, (2,)."""
        way = np.asarray(way_mm)
        surprise = np.asarray(shift_mm) - self.matrix @ way
        if np.hypot(*way) >= LEARNS_FROM_MM:
            gain = self._covariance @ way / (way @ self._covariance @ way + SHIFT_SIGMA_MM**2)
            self.matrix = self.matrix + np.outer(surprise, gain)
            self._covariance = self._covariance - np.outer(gain, way @ self._covariance)
        return surprise

    def go(self, machine: Machine, target_mm: np.ndarray):
        """Travels there so that each axis ends in its positive direction, its backlash taken up."""
        self._setup.check(*target_mm, None)
        way = target_mm - machine.xy_mm
        needs = (way < np.where(self._taken_up, 0.0, self._approach)) & (self._approach > 0)
        if needs.any():
            before = target_mm - np.where(needs, self._approach, 0.0)
            low = self._setup.limits_mm[:2, 0]
            self._taken_up[:] = False
            yield from machine.travel(*np.maximum(before, low))
        yield from machine.travel(*target_mm)
        self._taken_up = np.ones(2, dtype=bool)

    def reaches(self, target_mm: np.ndarray) -> bool:
        """Within the soft limits, the approach included."""
        try:
            self._setup.check(*target_mm, None)
            self._setup.check(*(target_mm - self._approach), None)
        except OutOfReach:
            return False
        return True
