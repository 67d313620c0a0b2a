"""The pattern that a rig is calibrated by: a ChArUco board or a plain chessboard.

A ChArUco board carries coded marks, so a part of it in view is enough. A plain
chessboard must be seen whole. Pattern mm: x right, y down along the printed sheet,
(0, 0) the outer corner of the upper left square, z = 0 the printed face.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from drillaid.errors import InputError

# The larger dictionaries begin with the smaller ones' marks, so one serves all sizes.
DICTIONARY = cv2.aruco.DICT_5X5_1000
MARKS = 1000  # that it holds; one for each white square
MARK_SHARE = 0.7  # side of a mark, in squares: leaves a white rim of 0.15 squares
SQUARES = (3, 60)  # along either side
SQUARE_MM = (2.0, 100.0)
# A sheet further off than this was printed to another scale, or another thing was measured.
# Common practice, no source: "fit to page" shrinks by 3 to 6 %, printers stretch by under 1 %.
RULER_SHARE = 0.05
BARS_MM = (100.0, 50.0, 20.0)  # ruler bars: the longest that is no wider than the pattern


@dataclass(frozen=True)
class Pattern:
    """columns, rows: squares along x and y (the outer ones counted, on a chessboard as well)

    square_mm: true side of a square; coded: whether marks stand in the white squares
    """

    columns: int = 26
    rows: int = 16
    square_mm: float = 10.0
    coded: bool = True

    def __post_init__(self):
        for name, count in (("across", self.columns), ("down", self.rows)):
            if not SQUARES[0] <= count <= SQUARES[1]:
                raise InputError(
                    f"a pattern has {SQUARES[0]} to {SQUARES[1]} squares {name}, not {count}"
                )
        if not SQUARE_MM[0] <= self.square_mm <= SQUARE_MM[1]:
            raise InputError(
                f"a square is {SQUARE_MM[0]:g} to {SQUARE_MM[1]:g} mm, not {self.square_mm:g}"
            )
        if self.coded and self.columns * self.rows // 2 > MARKS:
            raise InputError(
                f"{self.columns} x {self.rows} squares are more than there are coded marks for; "
                f"take fewer and larger ones, {2 * MARKS} at most"
            )

    @property
    def size_mm(self) -> tuple[float, float]:
        return self.columns * self.square_mm, self.rows * self.square_mm

    @property
    def bar_mm(self) -> float:
        """Length of the ruler bar on its sheet, as drawn: what callipers and the sheet allow.

        Follows from the pattern alone, so that whoever reads the sheet need not be told. To be
        asked of the pattern as drawn, before `scaled`.
        """
        width_mm = self.size_mm[0]
        return next((bar for bar in BARS_MM if bar <= width_mm + 1e-6), BARS_MM[-1])

    @cached_property
    def board(self) -> cv2.aruco.CharucoBoard:
        """The image library's board in mm; misuse for a plain chessboard."""
        if not self.coded:
            raise ValueError("a plain chessboard carries no marks")
        return cv2.aruco.CharucoBoard(
            (self.columns, self.rows),
            self.square_mm,
            MARK_SHARE * self.square_mm,
            cv2.aruco.getPredefinedDictionary(DICTIONARY),
        )

    @cached_property
    def corners_mm(self) -> np.ndarray:
        """(N, 2) inner corners, row by row from the upper left; N = (columns-1)(rows-1)."""
        x = np.arange(1, self.columns) * self.square_mm
        y = np.arange(1, self.rows) * self.square_mm
        corners = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
        corners.setflags(write=False)
        return corners

    @property
    def words(self) -> str:
        """Which sheet it is, as a rig file keeps it: the same words, the same sheet."""
        kind = "coded" if self.coded else "plain chessboard"
        return f"{kind}, {self.columns} x {self.rows} squares of {self.square_mm:.4g} mm"

    def scaled(self, true_over_nominal: float) -> Pattern:
        """The same sheet as it really came out of the printer."""
        return Pattern(self.columns, self.rows, self.square_mm * true_over_nominal, self.coded)

    def measured(self, bar_mm: float) -> Pattern | None:
        """The same sheet, its ruler bar measured; None where that cannot be this bar."""
        stretch = bar_mm / self.bar_mm
        if not (math.isfinite(stretch) and abs(stretch - 1) <= RULER_SHARE):
            return None
        return self.scaled(stretch)


def parse_counts(text: str, option: str = "--squares") -> tuple[int, int]:
    """ "26x16" -> (26, 16); InputError with the option's name otherwise."""
    match = re.fullmatch(r"\s*(\d{1,3})\s*[xX×]\s*(\d{1,3})\s*", text)
    if not match:
        raise InputError(f"{option} is two counts such as 26x16, not {text!r}")
    return int(match.group(1)), int(match.group(2))
