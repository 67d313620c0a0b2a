"""Hole lists of several files to the holes of one board: doubles, overlaps, strangers."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace

import numpy as np
from scipy.spatial import KDTree

from drillaid.design.evidence import Extent, size_text
from drillaid.design.holelist import HoleList, Spot, counted, refuse_too_many, short_list
from drillaid.design.model import Hole, Land
from drillaid.errors import DesignError

NAMED_NEAR_MM = 0.02  # a netlist in 0.0001 inch and a drill file in 0.01 mm agree so far
SAME_PLACE_MM = 0.005  # below any drill file's own rounding times two
_ADVICE = "give the drill files of one board by name"


def join(
    lists: list[HoleList], extent: Extent | None, warnings: list[str]
) -> tuple[tuple[Hole, ...], tuple[Land | None, ...]]:
    """Numbers all holes from 1 in order; a hole listed twice is kept once, with a warning.

    The same place with another diameter stays (it may be meant to be stepped),
    with a warning. Raises DesignError where the lists cannot be of one board.
    """
    refuse_too_many(sum(len(one.spots) for one in lists), lists[0].name, None)
    _one_board(lists, extent)
    holes: list[Hole] = []
    lands: list[Land | None] = []
    known: dict[tuple, int] = {}
    doubles: list[str] = []
    for one in lists:
        for spot in one.spots:
            twin = _twin(known, spot)
            if twin is not None:
                doubles.append(f"{one.name} line {spot.line} = hole {twin}")
                if spot.component and not holes[twin - 1].component:
                    holes[twin - 1] = replace(holes[twin - 1], component=spot.component)
                continue
            number = len(holes) + 1
            for key in _keys(spot):
                known[key] = number
            holes.append(
                Hole(number, spot.x_mm, spot.y_mm, spot.drill_mm, spot.plated,
                     spot.slot_to_mm, one.name, spot.line, spot.component)
            )  # fmt: skip
            lands.append(spot.land)
    if doubles:
        warnings.append(
            f"{counted(len(doubles), 'hole listed twice was', 'holes listed twice were')} "
            f"kept once: {short_list(doubles, 3)}"
        )
    _warn_overlaps(holes, warnings)
    _warn_outside(holes, extent, warnings)
    return tuple(holes), tuple(lands)


def named_after(holes: tuple[Hole, ...], spots: tuple[Spot, ...]) -> tuple[Hole, ...] | None:
    """The holes with the components of the spots at their places.

    None where fewer than nine of ten named spots lie on a hole: then the two files count
    from different origins, and a name would land on the wrong hole.
    """
    named = [spot for spot in spots if spot.component]
    if not named or not holes:
        return None
    tree = KDTree([hole.xy_mm for hole in holes])
    far, at = tree.query([(spot.x_mm, spot.y_mm) for spot in named])
    good = far <= NAMED_NEAR_MM
    if good.mean() < 0.9:
        return None
    out = list(holes)
    for spot, k, near in zip(named, at.tolist(), good.tolist(), strict=True):
        if near:
            out[k] = replace(out[k], component=spot.component)
    return tuple(out)


def _cell(xy: tuple[float, float]) -> tuple[int, int]:
    return round(xy[0] / SAME_PLACE_MM), round(xy[1] / SAME_PLACE_MM)


def _keys(spot: Spot) -> list[tuple]:
    here = _cell((spot.x_mm, spot.y_mm))
    size = round(spot.drill_mm * 1000)
    if spot.slot_to_mm is None:
        return [(here, size)]
    there = _cell(spot.slot_to_mm)
    return [(here, there, size), (there, here, size)]


def _twin(known: dict[tuple, int], spot: Spot) -> int | None:
    """Number of a hole already listed at the same place (one rounding step aside too)."""
    key = _keys(spot)[0]
    if key in known:
        return known[key]
    if len(key) == 3:
        return None
    (column, row), size = key
    for dx in (-1, 0, 1):
        for dy in (-1, 0, 1):
            for ds in (-1, 0, 1):
                number = known.get(((column + dx, row + dy), size + ds))
                if number is not None:
                    return number
    return None


# -- one board or several ---------------------------------------------------------


def _one_board(lists: list[HoleList], extent: Extent | None) -> None:
    boxes = [(one, _box(one)) for one in lists if one.spots]
    if extent is not None:
        for one, (low, high) in boxes:
            outside = (low > np.array(extent.high_mm) + 1) | (high < np.array(extent.low_mm) - 1)
            if outside.any():
                raise DesignError(
                    f"its holes (x {low[0]:.4g} to {high[0]:.4g}, y {low[1]:.4g} to {high[1]:.4g} "
                    f"mm) lie outside the board drawn in {extent.source}",
                    file=one.name,
                    remedy="give files of one board, exported with the same origin",
                )
    for index, (one, (low, high)) in enumerate(boxes):
        for other, (other_low, other_high) in boxes[:index]:
            gap = np.maximum(low - other_high, other_low - high).max()
            if gap > 5 and extent is None and len(one.spots) > 4 and len(other.spots) > 4:
                raise DesignError(
                    f"its holes lie {gap:.0f} mm beside those of {other.name}, so these are "
                    "two boards",
                    file=one.name,
                    remedy=_ADVICE,
                )
            _refuse_interleaved(one, other)


def _box(one: HoleList) -> tuple[np.ndarray, np.ndarray]:
    points = [(s.x_mm, s.y_mm) for s in one.spots]
    points += [s.slot_to_mm for s in one.spots if s.slot_to_mm is not None]
    array = np.array(points, dtype=np.float64)
    return array.min(axis=0), array.max(axis=0)


def _refuse_interleaved(one: HoleList, other: HoleList) -> None:
    """Holes of one file that cut into holes of another: no board is drilled like that."""
    ours, theirs = _round_holes(one), _round_holes(other)
    cut = 0
    for x, y, _, near in _close_pairs(np.vstack([ours, theirs]) if len(ours) and len(theirs)
                                      else np.empty((0, 3))):  # fmt: skip
        between = (x < len(ours)) != (y < len(ours))
        cut += between and near > SAME_PLACE_MM * 2
    fewer = min(len(ours), len(theirs))
    if cut >= 2 and cut * 10 > fewer:
        raise DesignError(
            f"{cut} of its holes cut into holes of {other.name} (spans "
            f"{size_text(ours[:, :2])} and {size_text(theirs[:, :2])}), so these are two boards",
            file=one.name,
            remedy=_ADVICE,
        )


def _round_holes(one: HoleList) -> np.ndarray:
    rows = [(s.x_mm, s.y_mm, s.drill_mm) for s in one.spots if s.slot_to_mm is None]
    return np.array(rows, dtype=np.float64).reshape(-1, 3)


def _close_pairs(circles: np.ndarray) -> list[tuple[int, int, float, float]]:
    """(i, j, overlap mm, centre distance mm) of circles (x, y, diameter) that cut each other."""
    if len(circles) < 2:
        return []
    size = max(0.5, float(circles[:, 2].max()))
    cells: dict[tuple[int, int], list[int]] = defaultdict(list)
    pairs = []
    columns = np.floor(circles[:, :2] / size).astype(np.int64).tolist()
    values = circles.tolist()
    for i, (column, row) in enumerate(columns):
        xi, yi, di = values[i]
        for dx in (-1, 0, 1):
            for dy in (-1, 0, 1):
                for j in cells.get((column + dx, row + dy), ()):
                    xj, yj, dj = values[j]
                    distance = ((xi - xj) ** 2 + (yi - yj) ** 2) ** 0.5
                    overlap = (di + dj) / 2 - distance
                    if overlap > 1e-6:
                        pairs.append((j, i, overlap, distance))
                        if len(pairs) > 2000:
                            return pairs
        cells[column, row].append(i)
    return pairs


def _warn_outside(holes: list[Hole], extent: Extent | None, warnings: list[str]) -> None:
    if extent is None:
        return
    (low_x, low_y), (high_x, high_y) = extent.low_mm, extent.high_mm
    outside = [
        hole.number
        for hole in holes
        if not (low_x <= hole.x_mm <= high_x and low_y <= hole.y_mm <= high_y)
    ]
    if outside:
        warnings.append(
            f"{counted(len(outside), 'hole lies', 'holes lie')} outside the board drawn in "
            f"{extent.source}: {short_list(outside)}"
        )


def _warn_overlaps(holes: list[Hole], warnings: list[str]) -> None:
    rounds = [hole for hole in holes if hole.slot_to_mm is None]
    circles = np.array([(h.x_mm, h.y_mm, h.drill_mm) for h in rounds]).reshape(-1, 3)
    stepped, cutting = [], []
    for i, j, _, distance in _close_pairs(circles):
        pair = f"{rounds[i].number} and {rounds[j].number}"
        (stepped if distance <= 2 * SAME_PLACE_MM else cutting).append(pair)
    if stepped:
        warnings.append(
            f"holes at the same place with different diameters: {short_list(stepped, 4)}"
        )
    if cutting:
        warnings.append(
            f"holes that cut into each other, so a bit would wander: {short_list(cutting, 4)}"
        )
