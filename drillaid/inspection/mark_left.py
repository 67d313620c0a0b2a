"""Is the etched centre mark still there? Then nothing was drilled, whatever else it looks like.

A mark is bare board in the middle of the land, with copper all round from a quarter of a
millimetre on; a hole as wide as its bit has taken that copper away. Only where the copper is
known: it says which mixture of colours tells copper from bare board.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.design.model import Design
from drillaid.inspection.patch import Board
from drillaid.registration.centre_marks import RADII_MM, marks_and_bores
from drillaid.registration.copper import FEW, copper_edges, sharper_eye, some
from drillaid.vision.dots import dots_of_sizes

# Likeness to a mark, and how much more than to a hole, from which it is one: on 18 simulated
# benches with marks on half of them this held for none of 679 drilled holes.
CLEAR, AHEAD = 0.9, 0.3
LIKELY, SOMEWHAT_AHEAD = 0.7, 0.1  # of nearly all marks, and of one drilled hole in twenty
WIDEST_MM = 2 * max(RADII_MM) + 0.16  # as which a mark may be measured
NARROWER_MM = 0.1  # than its bit, that a hole cannot be
MARKED_BOARD = 3  # clear marks somewhat ahead, from which on a board is one that has them


@dataclass(frozen=True, eq=False)
class MarksLeft:
    """By hole, (N,) bool. plain: a mark is there, and no hole; likely: it looks rather like one;
    marked: the board is one that has marks"""

    plain: np.ndarray
    likely: np.ndarray
    marked: bool


def mark_sized(diameter_mm: float, bit_mm: float) -> bool:
    """Is what was measured as a hole no wider than a mark, though its bit is? Then it is the mark,
    or a far smaller bit was used: the hole is still owed."""
    return diameter_mm <= min(WIDEST_MM, bit_mm - NARROWER_MM)


def marks_left(
    picture: np.ndarray, design: Design, board: Board, face: str, bits_mm
) -> MarksLeft | None:
    """bits_mm: (N,) of the holes there may be; None where the copper is not known.

    picture: uint8 (H, W, 3) BGR, as photographed
    """
    copper = design.copper.get(face)
    if copper is None:
        return None

    def to_px(xy_mm):
        return board.to_pixels(board.design_to_plane(xy_mm))

    eye = sharper_eye(picture, to_px, some(copper_edges(copper), FEW), lambda xy: xy)
    near = dots_of_sizes(eye, to_px, design.xy_mm, RADII_MM)
    clear = np.max([dots.likeness for dots in near], axis=0)
    mark, bore = marks_and_bores(eye, to_px, design.xy_mm, np.asarray(bits_mm, dtype=np.float64))
    return MarksLeft(
        (clear >= CLEAR) & (mark >= bore + AHEAD),
        (clear >= LIKELY) & (mark >= bore + SOMEWHAT_AHEAD),
        int(((clear >= CLEAR) & (mark >= bore + SOMEWHAT_AHEAD)).sum()) >= MARKED_BOARD,
    )
