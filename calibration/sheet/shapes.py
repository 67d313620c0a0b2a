"""What a sheet consists of: black boxes, black cells, words, drilled lands.

Sheet mm: x right, y down, (0, 0) the sheet's upper left corner.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

# Helvetica, in ems: digits as its metrics say, other characters at most so much on the average
# of a line. A test holds the widths against what a PDF library draws.
DIGIT_EM = 0.556
LETTER_EM = {"plain": 0.53, "bold": 0.57, "mono": 0.6}


@dataclass(frozen=True)
class Box:
    """A black rectangle."""

    x_mm: float
    y_mm: float
    width_mm: float
    height_mm: float

    def boxes(self) -> list[tuple[float, float, float, float]]:
        """[(x0, y0, x1, y1)] that do not overlap."""
        return [(self.x_mm, self.y_mm, self.x_mm + self.width_mm, self.y_mm + self.height_mm)]

    def loops(self) -> list[np.ndarray]:
        """[(N, 2)] closed outlines for the even-odd rule."""
        x0, y0, x1, y1 = self.boxes()[0]
        return [np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])]


@dataclass(frozen=True, eq=False)
class Cells:
    """A coded mark: square cells, some of them black. black: (rows, columns) bool."""

    x_mm: float
    y_mm: float
    cell_mm: float
    black: np.ndarray

    def boxes(self) -> list[tuple[float, float, float, float]]:
        """As `Box.boxes`; together they cover the black cells."""
        return [
            (
                self.x_mm + c0 * self.cell_mm,
                self.y_mm + r0 * self.cell_mm,
                self.x_mm + c1 * self.cell_mm,
                self.y_mm + r1 * self.cell_mm,
            )
            for r0, c0, r1, c1 in rectangles(self.black)
        ]

    def loops(self) -> list[np.ndarray]:
        """As `Box.loops`: no seam runs between neighbouring cells, as it would between boxes."""
        corner = np.array([self.x_mm, self.y_mm])
        return [corner + self.cell_mm * loop for loop in outlines(self.black)]


@dataclass(frozen=True)
class Text:
    """A line of words from x_mm on, y_mm its base line. style: a key of LETTER_EM."""

    x_mm: float
    y_mm: float
    size_mm: float
    words: str
    style: str = "plain"

    @property
    def room_mm(self) -> float:
        """What it will not exceed."""
        return len(self.words) * LETTER_EM[self.style] * self.size_mm


@dataclass(frozen=True)
class Land:
    """A round land with a hole to drill; on etched boards only."""

    x_mm: float
    y_mm: float
    land_mm: float
    drill_mm: float


@dataclass(frozen=True, eq=False)
class Sheet:
    """One page or one board."""

    title: str
    width_mm: float
    height_mm: float
    shapes: tuple[Box | Cells, ...]
    texts: tuple[Text, ...] = ()
    lands: tuple[Land, ...] = ()


def rectangles(black: np.ndarray) -> list[tuple[int, int, int, int]]:
    """(row0, column0, row1, column1), ends excluded: disjoint, covering all that is black."""
    left = np.array(black, bool)
    found = []
    for row, column in np.argwhere(left):
        if not left[row, column]:
            continue
        stop = column + 1
        while stop < left.shape[1] and left[row, stop]:
            stop += 1
        end = row + 1
        while end < left.shape[0] and left[end, column:stop].all():
            end += 1
        left[row:end, column:stop] = False
        found.append((int(row), int(column), int(end), int(stop)))
    return found


def outlines(black: np.ndarray) -> list[np.ndarray]:
    """[(N, 2)] closed loops (column, row) about what is black, corners only, even-odd rule."""
    grid = np.pad(np.asarray(black, bool), 1)
    onward: dict[tuple[int, int], list[tuple[int, int]]] = {}
    for r, c in np.argwhere(grid) - 1:
        r, c = int(r), int(c)
        sides = (
            (grid[r, c + 1], (c, r), (c + 1, r)),
            (grid[r + 1, c + 2], (c + 1, r), (c + 1, r + 1)),
            (grid[r + 2, c + 1], (c + 1, r + 1), (c, r + 1)),
            (grid[r + 1, c], (c, r + 1), (c, r)),
        )
        for inner, start, end in sides:
            if not inner:
                onward.setdefault(start, []).append(end)
    loops = []
    while onward:
        first = at = next(iter(onward))
        loop = []
        while True:
            loop.append(at)
            ways = onward[at]
            at = ways.pop()
            if not ways:
                del onward[loop[-1]]
            if at == first:
                break
        loops.append(_corners(np.array(loop)))
    return loops


def _corners(loop: np.ndarray) -> np.ndarray:
    """Without the points in the middle of straight sides."""
    before = loop - np.roll(loop, 1, axis=0)
    after = np.roll(loop, -1, axis=0) - loop
    turns = before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]
    return loop[turns != 0]
