"""How well an axis comes to its places: reversal, repeatability and accuracy after ISO 230-2.

For each target position the axis is sent there several times from either side; x is where it
came to rest less where it was sent. With means x_up, x_dn and standard deviations s (n - 1)
at each target:

    B_i = x_up - x_dn                                   B = max |B_i|     reversal
    R_i = max(2 s_up + 2 s_dn + |B_i|, 4 s_up, 4 s_dn)  R = max R_i       repeatability
    A = max(x + 2 s) - min(x - 2 s), both ways                            accuracy
    E = max(x) - min(x), both ways                                        systematic
    M = max - min of (x_up + x_dn) / 2                                    mean, both ways

The formulas are those of the 2014 edition as remembered; the standard itself was not seen.
Reports differ: one published one takes R as the larger of the two one-way figures, and E of
one way only (tests/calibration/test_axis_accuracy.py says where).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

FEWEST_RUNS = 2  # the standard asks for five; two give a standard deviation at all


@dataclass(frozen=True, eq=False)
class AxisAccuracy:
    """All mm. up, down: approached in the positive and in the negative direction.

    at_target_mm: (N,) the repeatability R_i; the rest as in the module, for the axis
    """

    reversal_mm: float
    mean_reversal_mm: float
    repeatability_mm: float
    repeatability_up_mm: float
    repeatability_down_mm: float
    at_target_mm: np.ndarray
    accuracy_mm: float
    accuracy_up_mm: float
    accuracy_down_mm: float
    systematic_mm: float
    mean_systematic_mm: float


def axis_accuracy(up_mm, down_mm) -> AxisAccuracy:
    """up_mm, down_mm: (N, runs) deviations at N targets, came to less asked for.

    ValueError for uneven tables, fewer than two runs, or what is not finite.
    """
    up, down = (np.asarray(side, dtype=np.float64) for side in (up_mm, down_mm))
    if up.ndim != 2 or down.ndim != 2 or len(up) != len(down) or not len(up):
        raise ValueError("one row of deviations for each target, the same targets both ways")
    if min(up.shape[1], down.shape[1]) < FEWEST_RUNS:
        raise ValueError("two runs each way are the least that tell a scatter")
    if not (np.isfinite(up).all() and np.isfinite(down).all()):
        raise ValueError("every deviation must be a number")
    return from_moments(
        up.mean(axis=1), up.std(axis=1, ddof=1), down.mean(axis=1), down.std(axis=1, ddof=1)
    )


def from_moments(mean_up, s_up, mean_down, s_down) -> AxisAccuracy:
    """From means and standard deviations at each target, (N,) each."""
    up, s_up, down, s_down = (
        np.asarray(a, dtype=np.float64) for a in (mean_up, s_up, mean_down, s_down)
    )
    reversal = up - down
    at_target = np.max([2 * s_up + 2 * s_down + np.abs(reversal), 4 * s_up, 4 * s_down], axis=0)
    high, low = (
        np.array([up + 2 * s_up, down + 2 * s_down]),
        np.array([up - 2 * s_up, down - 2 * s_down]),
    )
    means = np.array([up, down])
    return AxisAccuracy(
        reversal_mm=float(np.abs(reversal).max()),
        mean_reversal_mm=float(reversal.mean()),
        repeatability_mm=float(at_target.max()),
        repeatability_up_mm=float(4 * s_up.max()),
        repeatability_down_mm=float(4 * s_down.max()),
        at_target_mm=at_target,
        accuracy_mm=float(high.max() - low.min()),
        accuracy_up_mm=float(high[0].max() - low[0].min()),
        accuracy_down_mm=float(high[1].max() - low[1].min()),
        systematic_mm=float(means.max() - means.min()),
        mean_systematic_mm=float(np.ptp(means.mean(axis=0))),
    )
