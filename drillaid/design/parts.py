"""Parts recognised from the pattern of holes: single rows, dual rows, grids.

What must be right on a board are rows: a stiff part has to enter all its holes at
once. Where a file names the components, holes of different ones are never one part.
Where none does, places, diameters and lands are all there is; two equal rows face to
face are then weighed (`likeness`), and what may as well be small parts side by side is
said to be so.

How: holes alike in diameter; evenly spaced straight runs of three or more at a
usual pitch, narrow pitch and long run first; rows side by side become grids and
dual rows. Every hole ends in one part at most.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from drillaid.design.likeness import ONE, OPEN, SEVERAL, likeness
from drillaid.design.model import Design

# Common practice, no source; DIP: 2.54 mm pitch, rows 7.62 or 15.24 mm apart, is widely quoted.
PITCHES_MM = (1.27, 2.0, 2.5, 2.54, 3.5, 3.81, 3.96, 5.0, 5.08, 7.5, 7.62)
DIP_ROWS_MM = (7.62, 15.24)
WIDEST_DUAL_MM = 25.4
NEAR_MM = 0.03  # designs are exact to 0.01 mm; 2.50 and 2.54 must stay apart
ALIKE_MM = 0.015  # diameters within one part: one footprint, one tool
ALIKE_LAND_MM = 0.3  # short sides of its lands; pin 1 is often square, rarely larger
SINGLE, DUAL, GRID = "row", "dual row", "grid"


@dataclass(frozen=True)
class Part:
    """A group of holes that one stiff part enters together.

    kind: "row", "dual row" or "grid"
    holes: numbers, along the first row, then the next in the same direction
    rows: how many; row_spacing_mm: from row to row, None for a single one
    sure: False where the holes may as well belong to several small parts
    """

    name: str
    kind: str
    holes: tuple[int, ...]
    pitch_mm: float
    rows: int
    row_spacing_mm: float | None = None
    sure: bool = True


def find_parts(design: Design) -> tuple[Part, ...]:
    """Groups of three or more holes, in the order of their lowest hole; slots take no part."""
    parts: list[Part] = []
    for members in _alike(design):
        rows = _rows(design.xy_mm, members)
        grids, rows = _grids(rows)
        duals, rows = _duals(rows)
        groups = [(GRID, g) for g in grids] + [(DUAL, d) for d in duals]
        groups += [(SINGLE, [row]) for row in rows]
        found = (_part(design, kind, group) for kind, group in groups)
        parts += [part for part in found if part is not None]
    return tuple(sorted(parts, key=lambda part: min(part.holes)))


def _alike(design: Design) -> Iterator[np.ndarray]:
    """Indices of holes of one diameter, component and size of land (the unknown by themselves)."""
    usable = [i for i, hole in enumerate(design.holes) if hole.slot_to_mm is None]
    for one_drill in _split(usable, lambda i: float(design.drill_mm[i]), ALIKE_MM):
        for one_name in _by_component(design, one_drill):
            bare = [i for i in one_name if design.lands[i] is None]
            sized = [i for i in one_name if design.lands[i] is not None]
            groups = _split(sized, lambda i: min(design.lands[i].size_mm), ALIKE_LAND_MM)
            for group in [*groups, bare]:
                if len(group) >= 3:
                    yield np.array(sorted(group))


def _by_component(design: Design, members: list[int]) -> list[list[int]]:
    """Holes of one named component together, those without a name by themselves."""
    named: dict[str, list[int]] = defaultdict(list)
    for i in members:
        named[design.holes[i].component].append(i)
    return list(named.values())


def _split(members: list[int], size, gap: float) -> list[list[int]]:
    """Sorted by size and cut wherever the next is more than `gap` larger than the last."""
    groups: list[list[int]] = []
    for i in sorted(members, key=size):
        if groups and size(i) - size(groups[-1][-1]) <= gap:
            groups[-1].append(i)
        else:
            groups.append([i])
    return groups


# -- rows -----------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Row:
    """Evenly spaced holes on a line: indices into the design, and their places (N, 2)."""

    pitch_mm: float
    index: tuple[int, ...]
    xy: np.ndarray

    @property
    def along(self) -> np.ndarray:
        """Unit vector; rows of opposite order still count as parallel."""
        step = self.xy[-1] - self.xy[0]
        return step / np.hypot(*step)

    def cut(self, first: int, last: int) -> _Row:
        return _Row(self.pitch_mm, self.index[first:last], self.xy[first:last])


def _rows(xy: np.ndarray, members: np.ndarray) -> list[_Row]:
    """Rows that share no hole: narrowest pitch first, then longest, then lowest numbers."""
    count = itertools.count()  # two holes drilled at one place may make equal rows
    waiting = [(*_rank(row), next(count), row) for row in _runs(xy, members)]
    heapq.heapify(waiting)
    taken: set[int] = set()
    rows = []
    while waiting:
        row = heapq.heappop(waiting)[-1]
        free = [i not in taken for i in row.index]
        if all(free):
            rows.append(row)
            taken.update(row.index)
            continue
        for first, last in _stretches(free):
            piece = row.cut(first, last)
            heapq.heappush(waiting, (*_rank(piece), next(count), piece))
    return rows


def _rank(row: _Row) -> tuple:
    return row.pitch_mm, -len(row.index), row.index


def _stretches(free: list[bool]) -> Iterator[tuple[int, int]]:
    """(first, after last) of every stretch of three or more."""
    first = None
    for i, ok in enumerate([*free, False]):
        if ok and first is None:
            first = i
        elif not ok and first is not None:
            if i - first >= 3:
                yield first, i
            first = None


def _runs(xy: np.ndarray, members: np.ndarray) -> Iterator[_Row]:
    """Every longest evenly spaced run; each once, from its lower-left end."""
    places = xy[members]
    near = _Near(places)
    for pitch in PITCHES_MM:
        for a, b in near.pairs(pitch):
            step = places[b] - places[a]
            if near.at(places[a] - step) is not None:
                continue  # not the first of its run
            chain = [a, b]
            while (following := near.at(places[chain[-1]] + step)) is not None:
                chain.append(following)
                # Carry on in the direction of the whole run: no drift, no bending.
                step = (places[chain[-1]] - places[a]) / (len(chain) - 1)
            if len(chain) >= 3 and not _between(places[chain], xy):
                yield _Row(pitch, tuple(int(members[i]) for i in chain), places[chain])


def _between(row: np.ndarray, xy: np.ndarray) -> bool:
    """Whether other holes lie on the line between the row's own: then it is no one part."""
    along = row[1] - row[0]
    pitch = float(np.hypot(*along))
    x = (xy - row[0]) @ along / pitch**2
    off = np.abs((xy - row[0]) @ np.array([-along[1], along[0]])) / pitch
    inside = (x > 0) & (x < len(row) - 1) & (np.abs(x - np.round(x)) * pitch > 0.3)
    return bool((inside & (off < 0.3)).any())


class _Near:
    """Finds the place at a point, or all pairs a distance apart, by squares of 2 mm."""

    SQUARE = 2.0

    def __init__(self, places: np.ndarray) -> None:
        self.places = places
        self.apart = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
        self.squares: dict[tuple[int, int], list[int]] = defaultdict(list)
        for i, key in enumerate(map(tuple, np.floor(places / self.SQUARE).astype(int).tolist())):
            self.squares[key].append(i)

    def at(self, point) -> int | None:
        x, y = float(point[0]), float(point[1])
        best, closest = None, NEAR_MM
        for kx in {
            math.floor((x - NEAR_MM) / self.SQUARE),
            math.floor((x + NEAR_MM) / self.SQUARE),
        }:
            for ky in {math.floor((y + d) / self.SQUARE) for d in (-NEAR_MM, NEAR_MM)}:
                for i in self.squares.get((kx, ky), ()):
                    gap = math.dist((x, y), self.places[i])
                    if gap <= closest:
                        best, closest = i, gap
        return best

    def pairs(self, pitch: float) -> Iterator[tuple[int, int]]:
        """(a, b), b to the right of a, or above it when upright."""
        for a, b in np.argwhere(np.abs(self.apart - pitch) <= NEAR_MM / 2):
            dx, dy = self.places[b] - self.places[a]
            if dx > 1e-6 or (abs(dx) <= 1e-6 and dy > 0):
                yield int(a), int(b)


# -- rows side by side ------------------------------------------------------------------------


def _beside(a: _Row, b: _Row) -> tuple[float, int] | None:
    """(spacing, holes of a before b begins) for parallel rows in step with each other."""
    along = a.along
    if abs(a.pitch_mm - b.pitch_mm) > 1e-9 or abs(along @ b.along) < 0.9998:
        return None
    gap = (b.xy[0] if along @ b.along > 0 else b.xy[-1]) - a.xy[0]
    ahead = float(gap @ along) / a.pitch_mm
    if abs(ahead - round(ahead)) * a.pitch_mm > 2 * NEAR_MM:
        return None
    across = abs(float(along[0] * gap[1] - along[1] * gap[0]))
    return (across, round(ahead)) if across > NEAR_MM else None


def _grids(rows: list[_Row]) -> tuple[list[list[_Row]], list[_Row]]:
    """Three or more rows of one length, as far apart as their pitch."""
    grids, left = [], list(rows)
    for seed in rows:
        if seed not in left:
            continue
        block, grown = [seed], True
        while grown:
            grown = False
            for row in left:
                if row in block or len(row.index) != len(seed.index):
                    continue
                if any(_fits_grid(member, row) for member in block):
                    block.append(row)
                    grown = True
        if len(block) >= 3:
            across = np.array([-seed.along[1], seed.along[0]])
            block.sort(key=lambda row: float(row.xy.mean(axis=0) @ across))
            grids.append(block)
            left = [row for row in left if row not in block]
    return grids, left


def _fits_grid(a: _Row, b: _Row) -> bool:
    beside = _beside(a, b)
    return beside is not None and beside[1] == 0 and abs(beside[0] - a.pitch_mm) <= 2 * NEAR_MM


def _duals(rows: list[_Row]) -> tuple[list[list[_Row]], list[_Row]]:
    """Pairs of rows face to face.

    First rows of one length at the spacings of DIP packages, then as far apart as
    their pitch, then at any spacing to 25.4 mm; outer rows choose before inner
    ones. Last, a row that runs on into its neighbour's: the part of it that faces
    a shorter row at a DIP spacing is cut off and paired.
    """
    pairs: list[list[_Row]] = []
    left = list(rows)
    for wanted in (
        lambda s, p: _is_dip(s),
        lambda s, p: abs(s - p) <= 2 * NEAR_MM,
        lambda s, p: True,
    ):
        left = _pair_up(left, wanted, pairs)
    left = _cut_and_pair(left, pairs)
    return pairs, left


def _is_dip(spacing: float) -> bool:
    return min(abs(spacing - s) for s in DIP_ROWS_MM) <= 2 * NEAR_MM


def _partners(row: _Row, rows: list[_Row], wanted) -> list[tuple[float, int]]:
    found = []
    for k, other in enumerate(rows):
        if other is row or len(other.index) != len(row.index):
            continue
        beside = _beside(row, other)
        if not beside or beside[1] != 0 or beside[0] > WIDEST_DUAL_MM + NEAR_MM:
            continue
        if wanted(beside[0], row.pitch_mm):
            found.append((round(beside[0], 3), k))
    return sorted(found)


def _pair_up(rows: list[_Row], wanted, pairs: list[list[_Row]]) -> list[_Row]:
    left = list(rows)
    while True:
        options = [
            (len(p), k, p) for k, row in enumerate(left) if (p := _partners(row, left, wanted))
        ]
        if not options:
            return left
        _, k, partners = min(options)
        pair = [left[k], left[partners[0][1]]]
        pairs.append(pair)
        left = [row for row in left if row not in pair]


def _cut_and_pair(rows: list[_Row], pairs: list[list[_Row]]) -> list[_Row]:
    left = sorted(rows, key=lambda row: (-len(row.index), row.index))
    for short in sorted(rows, key=lambda row: (len(row.index), row.index)):
        for long in left:
            if short not in left or len(long.index) <= len(short.index):
                continue
            beside = _beside(long, short)
            if not beside or not _is_dip(beside[0]):
                continue
            first, last = beside[1], beside[1] + len(short.index)
            if first < 0 or last > len(long.index) or len(short.index) < 4:
                continue
            pairs.append([long.cut(first, last), short])
            rests = [long.cut(0, first), long.cut(last, len(long.index))]
            left = [row for row in left if row not in (long, short)]
            left += [rest for rest in rests if len(rest.index) >= 3]
            break
    return left


# -- names ------------------------------------------------------------------------------------


def _part(design: Design, kind: str, rows: list[_Row]) -> Part | None:
    """None where the rows are the two sides of several small parts."""
    first = rows[0]
    along = first.along
    ordered: list[int] = []
    for row in rows:
        ordered += row.index if along @ row.along > 0 else row.index[::-1]
    holes = tuple(design.holes[i].number for i in ordered)
    n, pitch = len(first.index), first.pitch_mm
    if kind == SINGLE:
        return Part(f"row of {n}, {pitch:g} mm pitch", kind, holes, pitch, 1)
    spacing = round(_beside(first, rows[1])[0], 2)
    if kind == GRID:
        return Part(
            f"grid of {len(rows)} × {n}, {pitch:g} mm", kind, holes, pitch, len(rows), spacing
        )
    name = f"dual row 2 × {n}, {pitch:g} mm pitch, {spacing:g} mm apart"
    index = {hole.number: i for i, hole in enumerate(design.holes)}
    seats = [index[number] for number in holes]
    verdict = likeness(design, seats[:n], seats[n:], pitch, spacing)
    if verdict == SEVERAL:
        return None
    if verdict == OPEN:
        name += f", or may be {n} parts with two leads side by side"
    return Part(name, kind, holes, pitch, 2, spacing, verdict == ONE)
