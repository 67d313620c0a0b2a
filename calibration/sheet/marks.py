"""Lays out the page of reference marks that are stuck on the drill's table."""

from __future__ import annotations

import textwrap

from calibration.sheet.board import EDGE_MM
from calibration.sheet.shapes import LETTER_EM, Box, Cells, Sheet, Text
from drillaid.errors import InputError
from drillaid.rig import marks

LINE_MM = 0.15  # to cut along
NUMBER_MM = 3.2
CELL_MM = (marks.SIDE_MM + 2 * marks.RIM_MM, marks.SIDE_MM + 2 * marks.RIM_MM + NUMBER_MM)
APART_MM = 5.0
RIM_MM = EDGE_MM + 5.0
SIZE_MM = 3.0

WORDS = (
    ("bold", "drillaid: reference marks for the drill's table"),
    ("plain", "By them drillaid notices that the camera or the table was knocked."),
    ("plain", 'Print at 100 % ("actual size"). Cut along the lines; keep the white rims.'),
    ("plain", "Switch the drill off. Stick three marks or more onto the table, better four, wide "
     "apart and all round the place of the board, flat, clean, and where the camera sees them "
     "while you work: no board, clamp or hand may cover them, and nothing may move them."),
    ("plain", "Use each number once. Stick them before you run drillaid calibrate bench, which "
     "stores where they are; then leave them alone."),
)  # fmt: skip


def marks_sheet(width_mm: float, height_mm: float) -> Sheet:
    """All marks on one page, with what to do; InputError if the page is too small."""
    lines = _lines(width_mm - 2 * RIM_MM)
    top = RIM_MM + len(lines) * 1.45 * SIZE_MM + 3.0
    columns = int((width_mm - 2 * RIM_MM + APART_MM) // (CELL_MM[0] + APART_MM))
    rows = -(-marks.COUNT // max(columns, 1))
    needed = top + rows * (CELL_MM[1] + APART_MM) - APART_MM + RIM_MM
    if columns < 1 or needed > height_mm:
        raise InputError(
            f"the {marks.COUNT} marks do not fit on {width_mm:g} x {height_mm:g} mm; take A5 or "
            "larger paper"
        )
    shapes: list[Box | Cells] = []
    texts = [
        Text(RIM_MM, RIM_MM + (0.8 + 1.45 * k) * SIZE_MM, SIZE_MM, words, style)
        for k, (style, words) in enumerate(lines)
    ]
    for k in range(marks.COUNT):
        x = RIM_MM + k % columns * (CELL_MM[0] + APART_MM)
        y = top + k // columns * (CELL_MM[1] + APART_MM)
        shapes += _mark(k + 1, x, y)
        texts.append(Text(x + marks.RIM_MM, y + CELL_MM[1] - 1.6, NUMBER_MM, str(k + 1), "bold"))
    return Sheet(WORDS[0][1], width_mm, height_mm, tuple(shapes), tuple(texts))


def _mark(number: int, x: float, y: float) -> list[Box | Cells]:
    """The mark in its white rim, and the frame to cut along."""
    w, h = CELL_MM
    cell = marks.SIDE_MM / marks.MODULES
    return [
        Cells(x + marks.RIM_MM, y + marks.RIM_MM, cell, marks.black_modules(number)),
        Box(x, y, w, LINE_MM),
        Box(x, y + h - LINE_MM, w, LINE_MM),
        Box(x, y + LINE_MM, LINE_MM, h - 2 * LINE_MM),
        Box(x + w - LINE_MM, y + LINE_MM, LINE_MM, h - 2 * LINE_MM),
    ]


def _lines(width: float) -> list[tuple[str, str]]:
    return [
        (style, line)
        for style, words in WORDS
        for line in textwrap.wrap(words, int(width / (LETTER_EM[style] * SIZE_MM)))
    ]
