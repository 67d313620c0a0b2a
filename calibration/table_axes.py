"""From where a table was sent and where the board was seen: matrix, backlash, repeatability.

In a run r the point of the board that is followed is seen at

    b = o_r + M t + s_x h_x + s_y h_y

t: where the table was sent, mm; s: +1/2 or -1/2 by the direction from which each axis came to
rest; h_x = -B_x m_x, what turning back on x loses, m_x the column of M. All are found by
one linear least-squares fit (our own). Each run has its own offset, so what is lost between
two runs spoils neither of them. Repeatability and accuracy follow ISO 230-2
(`calibration.axis_accuracy`), of what is left once the matrix is known. Where this departs
from the standard: a camera is no interferometer, and its own scatter is counted in; the
scale of the measure is that of the rig's bench plane; the way is some centimetres long.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.axis_accuracy import AxisAccuracy, axis_accuracy

AXES = "xy"
# What the camera's model bends over the way without any scatter to show it: pixel
# phase, lens terms. Measured on drawn pictures (tests/calibration/test_table_job.py).
UNSEEN_MM = 0.003


@dataclass(frozen=True)
class Sent:
    """One stop. run: counts from 0; axis: 0 or 1, the one that is measured; target: of it,
    from 0, or None for a stop that is none; signs: of the last motion of x and y, +1 or -1
    sent_mm: table; seen_mm: bench, on the board
    """

    run: int
    axis: int
    target: int | None
    signs: tuple[int, int]
    sent_mm: tuple[float, float]
    seen_mm: tuple[float, float]


@dataclass(frozen=True, eq=False)
class TableAxes:
    """matrix: (2, 2), how the board moves on the bench, mm per table mm; *_sigma: one sigma each

    backlash_mm: (2,), table mm; accuracy: of x and y; scatter_mm: one sigma of one stop, of
    each bench axis, camera included
    """

    matrix: np.ndarray
    matrix_sigma: np.ndarray
    backlash_mm: np.ndarray
    backlash_sigma_mm: np.ndarray
    accuracy: tuple[AxisAccuracy, AxisAccuracy]
    scatter_mm: float
    stops: int

    @property
    def scale(self) -> np.ndarray:
        """(2,), true mm for each mm sent, of x and y."""
        return np.hypot(*self.matrix)

    @property
    def turn_deg(self) -> float:
        """Of the table's x axis against the bench's."""
        return math.degrees(math.atan2(self.matrix[1, 0], self.matrix[0, 0]))

    @property
    def mirrored(self) -> bool:
        return bool(np.linalg.det(self.matrix) < 0)

    @property
    def skew_deg(self) -> float:
        """By how much the y axis is turned, anticlockwise, from a right angle with x."""
        x, y = self.matrix.T
        right = np.array([-x[1], x[0]]) * (-1 if self.mirrored else 1)
        turn = math.atan2(right[0] * y[1] - right[1] * y[0], right @ y)
        return math.degrees(turn)

    @property
    def skew_sigma_deg(self) -> float:
        return math.degrees(math.hypot(*(self.matrix_sigma.max(axis=0) / self.scale)))

    def section(self, sign: float) -> dict:
        """Keys of [table]; sign: -1 where spindle and camera move instead of the board.

        repeatability_mm is that from one side, since every place is come to from one side.
        """
        return {
            "matrix": np.round(sign * self.matrix, 7),
            "matrix_sigma": round(float(self.matrix_sigma.max()), 7),
            "backlash_mm": np.round(np.maximum(self.backlash_mm, 0.0), 4),
            "backlash_sigma_mm": np.round(self.backlash_sigma_mm, 4),
            "repeatability_mm": [round(a.repeatability_up_mm, 4) for a in self.accuracy],
        }

    def to_json(self) -> dict:
        """What was measured, with one sigma beside it."""
        return {
            "matrix": self.matrix.tolist(),
            "matrix_sigma": self.matrix_sigma.tolist(),
            "scale": self.scale.tolist(),
            "turn_deg": self.turn_deg,
            "mirrored": self.mirrored,
            "skew_deg": self.skew_deg,
            "skew_sigma_deg": self.skew_sigma_deg,
            "backlash_mm": self.backlash_mm.tolist(),
            "backlash_sigma_mm": self.backlash_sigma_mm.tolist(),
            "scatter_mm": self.scatter_mm,
            "stops": self.stops,
            "axes": {name: _json(a) for name, a in zip(AXES, self.accuracy, strict=True)},
        }


def _json(a: AxisAccuracy) -> dict:
    return {
        "reversal_mm": a.reversal_mm,
        "mean_reversal_mm": a.mean_reversal_mm,
        "repeatability_mm": a.repeatability_mm,
        "repeatability_up_mm": a.repeatability_up_mm,
        "repeatability_down_mm": a.repeatability_down_mm,
        "accuracy_mm": a.accuracy_mm,
        "systematic_mm": a.systematic_mm,
        "mean_systematic_mm": a.mean_systematic_mm,
    }


def fit_axes(stops: Sequence[Sent]) -> TableAxes:
    """The table's axes from whole runs: each with the same targets from both sides.

    ValueError for stops that leave something open: an axis without runs, uneven runs.
    """
    design, runs = _columns(stops)
    seen = np.array([s.seen_mm for s in stops], dtype=np.float64)
    columns = design.shape[1]
    if np.linalg.matrix_rank(design) < columns or len(stops) < columns + 4:
        raise ValueError("too few stops to tell matrix and backlash")
    solution, *_ = np.linalg.lstsq(design, seen, rcond=None)
    left = seen - design @ solution
    # both bench axes together: each has as many unknowns
    variance = float((left**2).sum() / (2 * (len(stops) - columns)))
    spread = np.diag(np.linalg.inv(design.T @ design))[runs:]
    matrix = solution[runs : runs + 2].T
    sent = np.array([s.sent_mm for s in stops], dtype=np.float64)
    unseen = UNSEEN_MM / np.maximum(np.ptp(sent, axis=0) / 2, 1e-9)
    sigma = np.sqrt(variance * spread[:2] + unseen**2)
    back = np.linalg.inv(matrix)
    lost = back @ solution[runs + 2 :].T  # [:, 0]: of turning on x, table mm
    lost_sigma = np.sqrt(variance * spread[2:]) * np.hypot(*back.T)
    offsets = solution[:runs]
    return TableAxes(
        matrix,
        np.vstack([sigma, sigma]),
        -np.diag(lost),
        np.hypot(lost_sigma, UNSEEN_MM),
        tuple(_accuracy(stops, axis, back, offsets) for axis in (0, 1)),
        math.sqrt(variance),
        len(stops),
    )


def _columns(stops: Sequence[Sent]) -> tuple[np.ndarray, int]:
    """(the fit's design matrix, number of runs)."""
    numbers = sorted({s.run for s in stops})
    design = np.zeros((len(stops), len(numbers) + 4))
    for row, s in enumerate(stops):
        design[row, numbers.index(s.run)] = 1.0
        design[row, -4:-2] = s.sent_mm
        design[row, -2:] = np.array(s.signs) / 2
    return design, len(numbers)


def _accuracy(stops: Sequence[Sent], axis: int, back, offsets) -> AxisAccuracy:
    numbers = sorted({s.run for s in stops})
    found: dict[tuple[int, int], list[float]] = {}
    for s in stops:
        if s.axis == axis and s.target is not None:
            came = back @ (np.array(s.seen_mm) - offsets[numbers.index(s.run)])
            found.setdefault((s.target, s.signs[axis]), []).append(
                float(came[axis] - s.sent_mm[axis])
            )
    targets = sorted({target for target, _ in found})
    up, down = ([found.get((target, sign), []) for target in targets] for sign in (1, -1))
    if len({len(row) for row in up + down}) != 1:
        raise ValueError(f"uneven runs on {AXES[axis]}")
    return axis_accuracy(up, down)
