"""What drilled holes say together: a common offset or mere scatter, and bits that get worse.

The offset of a hole is where it was drilled minus where it was aimed, in bench axes, the
spindle's own. Its mean over holes is an error of the spindle's place, if it is more than
chance. Chance has two parts: each hole's own scatter, and what all holes of one board share
(the photograph that measured them was placed with one error), so that a hundred holes of one
board are never a hundred witnesses.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import betainc, ndtr

LEVEL = 0.01  # a correction is offered when chance makes one this large less often
TREND_LEVEL = 0.01
FEWEST = 8  # holes before anything is said
OUTLIER = 13.8  # squared distance in sigmas beyond which 0.1 % lie by chance (chi-square, 2)
LEAST_VARIANCE_MM2 = 1e-8  # 0.1 µm: nothing is measured more finely
WORTH_MM = 0.01  # a common offset below this is not worth a change


@dataclass(frozen=True)
class Drilled:
    """One hole that was guided and later measured.

    off_mm: drilled minus aimed, bench axes; at_s: seconds since 1970
    error_mm: one sigma of the distance, of this hole alone
    shared_mm: one sigma of the distance, of what all holes of the board share
    """

    board: int
    hole: int
    at_s: float
    bit_mm: float
    off_mm: tuple[float, float]
    error_mm: float = 0.0
    shared_mm: float = 0.0


@dataclass(frozen=True)
class Offset:
    """off_mm: mean over holes and boards; sigma_mm: one sigma of its distance
    scatter_mm: root mean square of the holes about their board's mean, as a distance
    chance: that so large a mean comes about without any common cause
    left_out: holes far from all others, which do not count
    """

    off_mm: tuple[float, float]
    sigma_mm: float
    scatter_mm: float
    t_squared: float
    chance: float
    holes: int
    boards: int
    left_out: int

    @property
    def distance_mm(self) -> float:
        return math.hypot(*self.off_mm)

    @property
    def systematic(self) -> bool:
        return self.chance < LEVEL and self.distance_mm >= WORTH_MM

    @property
    def sentence(self) -> str:
        x, y = self.off_mm
        seen = f"{self.holes} hole{'s' * (self.holes != 1)} on {self.boards} board" + "s" * (
            self.boards != 1
        )
        if self.left_out:
            seen += f" ({self.left_out} far astray left out)"
        mean = (
            f"lie ({x:+.3f}, {y:+.3f}) mm from where they were aimed, "
            f"known to {self.sigma_mm:.3f} mm"
        )
        if self.systematic:
            return (
                f"{seen} {mean}: more than chance explains (it would in "
                f"{_per_mille(self.chance)} of such cases). The spindle stands there, or the bit "
                "always runs that way."
            )
        return (
            f"{seen} {mean}: chance explains that. Each hole scatters by {self.scatter_mm:.3f} mm; "
            "nothing is to be corrected."
        )


def _per_mille(chance: float) -> str:
    return "under 1 in 1000" if chance < 1e-3 else f"{1000 * chance:.0f} in 1000"


def hotelling(mean, covariance_of_mean, degrees: float) -> tuple[float, float]:
    """(T², the chance of one so large) of a mean (p,) against zero.

    T² = m' C^-1 m; with C from `degrees` degrees of freedom, T² (degrees - p + 1) /
    (p degrees) follows F with p and degrees - p + 1. Hotelling, Annals of Mathematical
    Statistics 2, 1931, 360-378; Johnson and Wichern, Applied Multivariate Statistical
    Analysis, section 5.2. A sample of n has n - 1 degrees.
    """
    mean, covariance = np.asarray(mean, dtype=np.float64), np.asarray(covariance_of_mean)
    p = len(mean)
    t_squared = float(mean @ np.linalg.solve(covariance, mean))
    rest = degrees - p + 1
    if rest <= 0:
        return t_squared, 1.0
    f = t_squared * rest / (p * degrees)
    # the upper tail of F is an incomplete beta function
    return t_squared, float(betainc(rest / 2, p / 2, rest / (rest + p * f)))


def common_offset(drilled: Sequence[Drilled]) -> Offset | None:
    """None where fewer than FEWEST holes speak.

    Boards weigh by how well each knows its own mean. What boards share less than their
    errors say is taken from their errors; what they differ more, from the boards
    themselves (the moment estimate of a random effect; DerSimonian and Laird, Controlled
    Clinical Trials 7, 1986, 177-188, from memory).
    """
    off = np.array([d.off_mm for d in drilled], dtype=np.float64).reshape(-1, 2)
    board = np.array([d.board for d in drilled])
    shared = np.array([d.shared_mm for d in drilled])
    if len(off) < FEWEST:
        return None
    keep = _not_astray(off, board)
    left_out = int((~keep).sum())
    off, board, shared = off[keep], board[keep], shared[keep]
    numbers, of = np.unique(board, return_inverse=True)
    if len(off) < FEWEST or len(off) - len(numbers) < 3:
        return None
    counts = np.bincount(of)
    means = np.column_stack([np.bincount(of, off[:, k]) / counts for k in (0, 1)])
    rest = off - means[of]
    degrees = len(off) - len(numbers)
    within = rest.T @ rest / degrees + LEAST_VARIANCE_MM2 * np.eye(2)
    stated = np.bincount(of, shared**2) / counts / 2  # variance by axis
    between = _between(means, counts, within)
    by_boards = between > float(np.median(stated))
    known = within.trace() / 2 / counts + np.maximum(stated, between)
    weights = 1 / known
    weights /= weights.sum()
    mean = weights @ means
    covariance = sum(
        w**2 * (within / n + np.eye(2) * max(s, between))
        for w, n, s in zip(weights, counts, stated, strict=True)
    )
    t_squared, chance = hotelling(mean, covariance, len(numbers) - 1 if by_boards else degrees)
    return Offset(
        (float(mean[0]), float(mean[1])), float(np.sqrt(covariance.trace())),
        float(np.sqrt(within.trace())), t_squared, chance, len(off), len(numbers), left_out,
    )  # fmt: skip


def _not_astray(off: np.ndarray, board: np.ndarray) -> np.ndarray:
    """Holes within reach of their own board's median, (N,) bool."""
    middles = {b: np.median(off[board == b], axis=0) for b in np.unique(board)}
    away = off - np.array([middles[b] for b in board])
    # for a round normal scatter the median distance is 1.177 sigma
    sigma = np.median(np.hypot(*away.T)) / 1.177
    return (away**2).sum(axis=1) <= OUTLIER * max(sigma, 1e-6) ** 2


def _between(means: np.ndarray, counts: np.ndarray, within: np.ndarray) -> float:
    """Variance by axis of the boards' own offsets beyond what their holes' scatter explains."""
    if len(means) < 3:
        return 0.0
    weights = counts / (within.trace() / 2)
    middle = weights @ means / weights.sum()
    q = float((weights[:, None] * (means - middle) ** 2).sum())
    norm = 2 * (weights.sum() - (weights**2).sum() / weights.sum())
    return max(0.0, (q - 2 * (len(means) - 1)) / norm)


@dataclass(frozen=True)
class BoardOffset:
    """One board's holes: their mean offset and their scatter about it, as a distance."""

    board: int
    holes: int
    off_mm: tuple[float, float]
    scatter_mm: float


def by_board(drilled: Sequence[Drilled]) -> tuple[BoardOffset, ...]:
    """Boards of at least three holes, in the order they were drilled; medians, so that a hole
    far astray does not count for more than one."""
    first: dict[int, float] = {}
    for d in drilled:
        first[d.board] = min(first.get(d.board, math.inf), d.at_s)
    found = []
    for board in sorted(first, key=lambda b: (first[b], b)):
        off = np.array([d.off_mm for d in drilled if d.board == board])
        if len(off) < 3:
            continue
        middle = np.median(off, axis=0)
        scatter = float(np.median(np.hypot(*(off - middle).T)) / 1.177 * 2**0.5)
        found.append(BoardOffset(board, len(off), (float(middle[0]), float(middle[1])), scatter))
    return tuple(found)


def drift_sentence(boards: Sequence[BoardOffset]) -> str | None:
    """Whether the offset wanders off, or the scatter grows, from board to board; None: neither.

    Mann and Kendall's test (`rises`) on both coordinates both ways, and on the scatter
    upwards: five questions, so each is asked five times as strictly.
    """
    if len(boards) < FEWEST:
        return None
    off = np.array([b.off_mm for b in boards])
    chance = min(rises(side)[1] for axis in off.T for side in (axis, -axis))
    if 5 * chance < TREND_LEVEL:
        return (
            "The offset wanders off from board to board: look for what works loose, and "
            "calibrate the spindle again."
        )
    if 5 * rises([b.scatter_mm for b in boards])[1] < TREND_LEVEL:
        return "The scatter grows from board to board: look at the bit, the chuck and the bearings."
    return None


@dataclass(frozen=True)
class BitTrend:
    """holes: drilled with that size and measured; first_mm, last_mm: median distance from
    where they were aimed, in the first and the last third; chance: of such a rise by luck"""

    bit_mm: float
    holes: int
    first_mm: float
    last_mm: float
    chance: float

    @property
    def rising(self) -> bool:
        return self.chance < TREND_LEVEL and self.last_mm > self.first_mm

    @property
    def sentence(self) -> str:
        words = (
            f"{self.bit_mm:g} mm: {self.holes} holes, the first third {self.first_mm:.3f} mm off "
            f"as a rule, the last {self.last_mm:.3f} mm"
        )
        if self.rising:
            return words + ". It wanders more and more: fit a new one."
        return words + ". No rise that luck would not bring."


def bit_trends(drilled: Sequence[Drilled]) -> tuple[BitTrend, ...]:
    """For each size of bit with enough holes, in the order they were drilled.

    Distances are taken from the median of each board, so that a wrong place of the
    spindle is not laid on the bit.
    """
    trends = []
    for bit in sorted({d.bit_mm for d in drilled}):
        own = sorted((d for d in drilled if d.bit_mm == bit), key=lambda d: (d.at_s, d.hole))
        if len(own) < FEWEST:
            continue
        off = np.array([d.off_mm for d in own])
        board = np.array([d.board for d in own])
        for b in np.unique(board):
            if (board == b).sum() >= 3:
                off[board == b] -= np.median(off[board == b], axis=0)
        far = np.hypot(*off.T)
        third = max(1, len(far) // 3)
        _, chance = rises(far)
        trends.append(
            BitTrend(
                bit, len(far), float(np.median(far[:third])), float(np.median(far[-third:])), chance
            )
        )
    return tuple(trends)


def rises(values) -> tuple[int, float]:
    """(S, the chance of so steady a rise by luck): the test of Mann and Kendall.

    S counts pairs in order minus pairs against it. Mann, Econometrica 13, 1945, 245-259;
    the normal approximation with ties as in Gilbert, Statistical Methods for Environmental
    Pollution Monitoring, 1987, section 16.4.
    """
    values = np.asarray(values, dtype=np.float64)
    n = len(values)
    s = int(np.sign(np.subtract.outer(values, values))[np.tril_indices(n, -1)].sum())
    _, ties = np.unique(values, return_counts=True)
    variance = (n * (n - 1) * (2 * n + 5) - (ties * (ties - 1) * (2 * ties + 5)).sum()) / 18
    if variance <= 0:
        return s, 1.0
    z = (s - np.sign(s)) / math.sqrt(variance)
    return s, float(ndtr(-z))
