"""Where a correlation is highest: places of a pattern, of which no two are the same."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.geometry import Affine


@dataclass(frozen=True, eq=False)
class Peak:
    """placement: design mm -> plane mm; score: sigmas of the correlation at other shifts, or
    mean agreement; rigid: the same before it was stretched, where it has been settled."""

    placement: Affine
    score: float
    mirrored: bool
    rigid: Affine | None = None


def highest_of(plane: np.ndarray, count: int, radius: int) -> list[tuple[float, int, int]]:
    """(sigmas, row, column) of the highest places, further apart than radius; spoils `plane`."""
    sigma = float(cv2.meanStdDev(plane)[1][0, 0]) + 1e-12
    found = []
    for k in range(count):
        _, value, _, (column, row) = cv2.minMaxLoc(plane)
        found.append((value / sigma, row, column))
        if k + 1 < count:
            _blank(plane, row, column, radius)
    return found


def unwrapped(index: int, length: int, wrapped: int) -> int:
    """Of the two places that a wrapped index can mean, the one nearer to the picture."""
    return int(index if index < length + (wrapped - length) // 2 else index - wrapped)


def _blank(overlap: np.ndarray, row: int, column: int, radius: int) -> None:
    rows = np.arange(row - radius, row + radius + 1) % overlap.shape[0]
    columns = np.arange(column - radius, column + radius + 1) % overlap.shape[1]
    overlap[rows[:, None], columns] = -np.inf


def distinct(peaks: Iterable[Peak], xy: np.ndarray, keep: int, within_mm: float = 2.5) -> list[Peak]:
    """The first `keep` of them of which no two lay the pattern at the same place."""
    low, high = xy.min(axis=0), xy.max(axis=0)
    corners = np.array([low, [low[0], high[1]], high, [high[0], low[1]]])
    kept: list[Peak] = []
    for peak in peaks:
        at = peak.placement(corners)
        if all(
            p.mirrored != peak.mirrored
            or np.sqrt(((p.placement(corners) - at) ** 2).sum(axis=1).mean()) > within_mm
            for p in kept
        ):
            kept.append(peak)
            if len(kept) == keep:
                break
    return kept
