"""How well a reading of ambiguous numbers agrees with what circuit boards are like.

Scores are in the manner of log-odds: points lost for what boards do not do,
points won for what they do. The weights are judgement, common practice, no
source; what matters is that readings differing by a factor of 10 or 25.4, or by
the side on which zeros were dropped, end many points apart, and that we refuse
when they do not (`choose`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Generic, TypeVar

import numpy as np

MARGIN = 2.5  # points between the best reading and the next that counts as decided
PITCHES_MM = np.array(
    [1.27, 2.0, 2.5, 2.54, 3.5, 3.81, 5.0, 5.08, 7.5, 7.62, 10.0, 10.16, 12.7, 15.24]
)
SMALLEST_MM, LARGEST_MM = 0.15, 6.5  # diameters found on boards
_SAMPLE = 300


@dataclass(frozen=True)
class Extent:
    """A box known from another file that the holes must lie in, design mm."""

    low_mm: tuple[float, float]
    high_mm: tuple[float, float]
    source: str

    @property
    def size_mm(self) -> tuple[float, float]:
        return self.high_mm[0] - self.low_mm[0], self.high_mm[1] - self.low_mm[1]


T = TypeVar("T")


@dataclass(frozen=True)
class Reading(Generic[T]):
    """One way to read the numbers: what it gives and how well that agrees."""

    how: T
    xy_mm: np.ndarray
    score: float


def plausibility(xy_mm: np.ndarray, drill_mm: np.ndarray, extent: Extent | None = None) -> float:
    """Points for holes at `xy_mm` (N, 2) of diameters `drill_mm` (N,), NaN where unknown."""
    score = _tools(drill_mm)
    if len(xy_mm) == 0:
        return score
    low, high = xy_mm.min(axis=0), xy_mm.max(axis=0)
    score += _magnitude(float(np.abs(xy_mm).max()))
    if extent is not None:
        score += _inside(xy_mm, low, high, extent)
    if len(xy_mm) > 1:
        score += _size(float((high - low).max()), len(xy_mm))
        score += _spacing(xy_mm, drill_mm)
    return score


def _tools(drill_mm: np.ndarray) -> float:
    known = drill_mm[np.isfinite(drill_mm)]
    if len(known) == 0:
        return 0.0
    odd = np.mean((known < SMALLEST_MM) | (known > LARGEST_MM))
    return -8.0 * float(odd)


def _magnitude(largest_mm: float) -> float:
    """Origins lie on the sheet, so coordinates stay within a sheet's size."""
    return -3.0 if largest_mm > 1000 else -1.0 if largest_mm > 600 else 0.0


def _size(longest_mm: float, count: int) -> float:
    """Boards are 5 to 600 mm; but two or three holes may well lie close together."""
    if longest_mm > 600:
        return -4.0 - 4.0 * math.log10(longest_mm / 600)
    weight = min(1.0, count / 8)
    if longest_mm < 5:
        return weight * (-4.0 - 4.0 * math.log10(5 / max(longest_mm, 1e-6)))
    return 0.0 if 12 <= longest_mm <= 350 else -weight


def _inside(xy_mm, low, high, extent: Extent) -> float:
    margin = 0.5
    inside = np.all(
        (xy_mm >= np.array(extent.low_mm) - margin) & (xy_mm <= np.array(extent.high_mm) + margin),
        axis=1,
    )
    score = -10.0 * (1.0 - float(inside.mean()))
    longest, given = float((high - low).max()), max(extent.size_mm)
    if longest > given + 2 * margin:
        score -= 4.0
    elif len(xy_mm) >= 4 and longest < 0.2 * given:
        score -= 4.0
    return score


def _spacing(xy_mm: np.ndarray, drill_mm: np.ndarray) -> float:
    """Holes do not overlap, do not lie lonely, and like the usual pitches."""
    step = max(1, len(xy_mm) // _SAMPLE)
    picked = np.arange(0, len(xy_mm), step)
    difference = xy_mm[picked, None, :] - xy_mm[None, :, :]
    distance = np.hypot(difference[..., 0], difference[..., 1])
    distance[distance < 1e-6] = np.inf  # the hole itself, and doubles
    nearest = distance.argmin(axis=1)
    gap = distance[np.arange(len(picked)), nearest]
    if not np.isfinite(gap).any():
        return 0.0
    edge = (drill_mm[picked] + drill_mm[nearest]) / 2
    overlap = np.mean(gap < np.where(np.isfinite(edge), edge, 0.3))
    offset = np.abs(gap[:, None] - PITCHES_MM).min(axis=1)
    score = 5.0 * float(np.mean(offset < 0.02)) - 8.0 * float(overlap)
    if len(xy_mm) >= 8:
        lonely = float(np.median(gap))
        score -= 6.0 if lonely > 40 else 3.0 if lonely > 15 else 0.0
    return score


def choose(readings: list[Reading]) -> tuple[Reading, Reading | None]:
    """The best reading and the best one that gives other places (None: all agree).

    Readings that give the same places are one reading: nothing hangs on which
    of them was meant. The first of equals wins, so list the usual one first.
    """
    best = max(readings, key=lambda reading: reading.score)
    others = [r for r in readings if not np.allclose(r.xy_mm, best.xy_mm, atol=1e-4)]
    return best, max(others, key=lambda reading: reading.score, default=None)


def size_text(xy_mm: np.ndarray) -> str:
    """'63.5 x 40.6 mm', the box round the holes."""
    width, height = np.ptp(xy_mm, axis=0) if len(xy_mm) else (0.0, 0.0)
    return f"{width:.4g} x {height:.4g} mm"
