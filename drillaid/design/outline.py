"""The board's edge: strokes joined into closed rings."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from drillaid.design.gerber_objects import area
from drillaid.design.gerber_reader import MAX_EXTENT_MM, read_objects
from drillaid.design.holelist import counted
from drillaid.design.model import Outline
from drillaid.errors import DesignError

BRIDGED_MM = 0.05  # what rounding in a file may leave between two strokes
GUESSED_MM = 1.0  # bridged with a warning: somebody drew carelessly
SMALLEST_MM2 = 0.05


def read_outline(data: bytes, name: str, warn: Callable[[str], None] | None = None) -> Outline:
    """Closed rings of the board's edge, the largest first, as centre lines of the strokes.

    Gaps to 0.05 mm are bridged silently, to 1 mm with a warning. Strokes that still
    close nothing are left out with a warning; where no ring closes at all the edge
    is unknown and the box round the strokes is given, with a warning that says so.
    """
    warn = warn or (lambda _text: None)
    drawn = [d for d in read_objects(data, name) if d.dark]
    paths = [d.path_mm for d in drawn if d.path_mm is not None]
    rings = [p.polygon for d in drawn if d.kind == "region" for p in d.pieces]
    if not paths and not rings:
        raise DesignError("this layer draws no outline", file=name,
                          remedy="give the layer with the board's edge")  # fmt: skip
    everything = np.concatenate([*paths, *rings])
    if not np.ptp(everything, axis=0).max() <= MAX_EXTENT_MM:
        raise DesignError("the outline is larger than any board", file=name,
                          remedy="check the unit and the number format of the export")  # fmt: skip
    closed, loose, gap = closed_rings(paths)
    if loose and not (closed or rings):
        closed, loose, gap = closed_rings(paths, GUESSED_MM)
    if gap > BRIDGED_MM:
        warn(f"{name}: the outline has gaps of up to {gap:.2f} mm; they were taken as closed")
    rings = sorted([*closed, *rings], key=lambda r: -abs(area(r)))
    if not rings:
        low, high = everything.min(axis=0), everything.max(axis=0)
        if (high - low).min() <= 0:
            raise DesignError("the outline encloses nothing", file=name,
                              remedy="give the layer with the board's edge")  # fmt: skip
        warn(f"{name}: the outline does not close; the rectangle round it is used as the edge")
        x0, y0, x1, y1 = *low, *high
        return Outline((np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]),))
    if loose:
        said = counted(
            len(loose), "line of the outline closes nothing and was",
            "lines of the outline close nothing and were",
        )  # fmt: skip
        warn(f"{name}: {said} left out")
    return Outline(tuple(rings))


def closed_rings(
    paths: list[np.ndarray], gap_mm: float = BRIDGED_MM
) -> tuple[list[np.ndarray], list[np.ndarray], float]:
    """(rings largest first, chains left open, widest gap bridged); paths run either way."""
    paths = _once(paths)
    ends = np.array([[p[0], p[-1]] for p in paths]).reshape(-1, 2, 2)
    free = np.ones(len(paths), bool)
    rings, loose, widest = [], [], 0.0
    for first in range(len(paths)):
        if not free[first]:
            continue
        free[first] = False
        chain, gap = _grow(paths[first], paths, ends, free, gap_mm)
        if _closes(chain, gap_mm):
            widest = max(widest, gap, float(np.hypot(*(chain[0] - chain[-1]))))
            ring = chain[:-1] if np.hypot(*(chain[0] - chain[-1])) <= gap_mm else chain
            rings.append(ring)
        else:
            loose.append(chain)
    rings = [r for r in rings if abs(area(r)) > SMALLEST_MM2]
    return sorted(rings, key=lambda r: -abs(area(r))), loose, widest


def _once(paths: list[np.ndarray]) -> list[np.ndarray]:
    """Strokes of no length dropped, strokes drawn twice kept once."""
    seen, kept = set(), []
    for path in paths:
        if np.ptp(path, axis=0).max() <= 1e-9:
            continue
        key = [tuple(np.round(path[i], 2)) for i in (0, len(path) // 2, -1)]
        if len(path) == 2:
            key[1] = tuple(np.round(path.mean(axis=0), 2))
        both = (min(key[0], key[2]), key[1], max(key[0], key[2]))
        if both not in seen:
            seen.add(both)
            kept.append(path)
    return kept


def _closes(chain: np.ndarray, gap_mm: float) -> bool:
    return len(chain) > 3 and bool(np.hypot(*(chain[0] - chain[-1])) <= gap_mm)


def _grow(chain, paths, ends, free, gap_mm) -> tuple[np.ndarray, float]:
    """Adds the nearest free path at the chain's end, then at its start, until it closes."""
    widest = 0.0
    parts = [chain]
    for _ in range(2):
        while not np.hypot(*(parts[0][0] - parts[-1][-1])) <= gap_mm or len(parts) < 2:
            if len(parts) == 1 and len(chain) > 3 and _closes(chain, gap_mm):
                break
            index = np.flatnonzero(free)
            if not len(index):
                break
            distance = np.hypot(*np.moveaxis(ends[index] - parts[-1][-1], -1, 0))
            row, end = np.unravel_index(np.argmin(distance), distance.shape)
            if distance[row, end] > gap_mm:
                break
            widest = max(widest, float(distance[row, end]))
            free[index[row]] = False
            path = paths[index[row]]
            parts.append(path[::-1] if end else path)
        parts = [p[::-1] for p in reversed(parts)]
    joined = [parts[0]]
    for part in parts[1:]:
        joined.append(part[1:] if np.hypot(*(part[0] - joined[-1][-1])) < 1e-6 else part)
    return np.concatenate(joined), widest
