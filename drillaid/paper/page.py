"""What a page consists of. Page mm: x right, y down, (0, 0) the upper left corner."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

BLACK, GREY, PALE, WHITE = "#000000", "#56636c", "#f0f2f4", "#ffffff"
A4_MM, A3_MM = (210.0, 297.0), (297.0, 420.0)


@dataclass(frozen=True, eq=False)
class Path:
    """Loops or lines of (N, 2) mm. fill, line: colours "#rrggbb" or None; even-odd rule.

    width_mm: of the line; dash_mm: (on, off) or None
    """

    loops: tuple[np.ndarray, ...]
    closed: bool = True
    fill: str | None = None
    line: str | None = BLACK
    width_mm: float = 0.2
    dash_mm: tuple[float, float] | None = None


@dataclass(frozen=True)
class Disc:
    """A circle; fill and line as for `Path`."""

    x_mm: float
    y_mm: float
    radius_mm: float
    fill: str | None = None
    line: str | None = BLACK
    width_mm: float = 0.2


@dataclass(frozen=True)
class Words:
    """One line of text, y_mm its base line. align: "left", "right" or "middle"; bold or not."""

    x_mm: float
    y_mm: float
    size_mm: float
    text: str
    bold: bool = False
    align: str = "left"
    colour: str = BLACK


@dataclass(frozen=True, eq=False)
class Photo:
    """A JPEG of width x height px. to_page: (2, 3), the picture's unit square -> page mm, where
    (0, 0) is its upper left corner and (1, 1) its lower right one"""

    jpeg: bytes
    width: int
    height: int
    to_page: np.ndarray


@dataclass(eq=False)
class Page:
    """items: drawn in order"""

    width_mm: float = A4_MM[0]
    height_mm: float = A4_MM[1]
    items: list = field(default_factory=list)

    def add(self, *items) -> None:
        self.items += items


def line(x0: float, y0: float, x1: float, y1: float, width_mm: float = 0.2,
         colour: str = BLACK) -> Path:  # fmt: skip
    """One straight line."""
    return Path((np.array([(x0, y0), (x1, y1)]),), False, None, colour, width_mm)


def box(x: float, y: float, width: float, height: float, *, fill: str | None = None,
        edge: str | None = BLACK, width_mm: float = 0.2) -> Path:  # fmt: skip
    """A rectangle."""
    corners = np.array([(x, y), (x + width, y), (x + width, y + height), (x, y + height)])
    return Path((corners,), True, fill, edge, width_mm)
