"""Lays out the test board: the pattern, its ruler bar and the words, on paper or in copper."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration.pattern import DICTIONARY, MARK_SHARE, MARKS, SQUARES, Pattern
from calibration.sheet.shapes import DIGIT_EM, LETTER_EM, Box, Cells, Land, Sheet, Text
from drillaid.errors import InputError

EDGE_MM = 5.0  # what printers leave white; common practice, no source
RIM_MM = 8.0  # the least white beside the pattern
GAP_MM = 4.0  # between the pattern and the ruler bar, at least
BAR_MM, TICK_MM, TICK_WIDTH_MM = 4.0, 2.0, 0.2
DIGITS_MM = 2.4  # size of the numbers under the ticks
WIDE_MM = 110.0  # words stand beside the bar where that much is left
BESIDE_MM = 8.0
TIED = "\u00a0"  # a blank at which no line is broken
LAND_MM, DRILL_MM, LAND_STEP_MM = 2.4, 0.8, 20.0
LAND_FROM_EDGE_MM = 4.0


@dataclass(frozen=True)
class Place:
    """Where a board shall be drawn: its size in mm, and whether it is etched, not printed."""

    width_mm: float
    height_mm: float
    etched: bool = False


def test_board(pattern: Pattern, place: Place) -> Sheet:
    """The sheet of a pattern; InputError with the largest that fits if this one does not."""
    if not _fits(pattern, place, RIM_MM):
        raise InputError(_too_large(pattern, place))
    columns, rows = pattern.size_mm
    block = _block(pattern, place)
    left = (place.width_mm - columns) / 2
    free = place.height_mm - EDGE_MM - block.height_mm - GAP_MM - rows - RIM_MM
    top = RIM_MM + free / 2
    shapes = [*_squares(pattern, left, top), *block.shapes]
    lands = _lands(place) if place.etched else ()
    return Sheet(
        _title(pattern), place.width_mm, place.height_mm, tuple(shapes), block.texts, lands
    )


test_board.__test__ = False  # a name that the test runner would take for one of its own


def largest_pattern(square_mm: float, place: Place, *, rim_mm: float | None = None) -> Pattern:
    """The coded pattern with the most squares that fit; InputError if three by three do not.

    rim_mm: white beside it; by default about a square more than printers leave.
    """
    Pattern(*[SQUARES[0]] * 2, square_mm)  # refuses a size that is none
    if rim_mm is None:
        rim_mm = max(RIM_MM, EDGE_MM + min(square_mm, 10.0))
    if place.etched:
        rim_mm = RIM_MM
    columns = min(int((place.width_mm - 2 * rim_mm) / square_mm + 1e-9), SQUARES[1])
    highest = min(int(place.height_mm / square_mm), SQUARES[1])
    for rows in range(highest, SQUARES[0] - 1, -1):
        across = min(columns, (2 * MARKS + 1) // rows)
        if across < SQUARES[0]:
            continue
        pattern = Pattern(across, rows, square_mm)
        if _fits(pattern, place, rim_mm):
            return pattern
    raise InputError(
        f"not even {SQUARES[0]} x {SQUARES[0]} squares of {square_mm:g} mm fit on "
        f"{place.width_mm:g} x {place.height_mm:g} mm beside the ruler bar; take larger paper or "
        "smaller squares (--square-mm)"
    )


def options_of(pattern: Pattern) -> str:
    """How the other commands are told which board it is."""
    if pattern.coded:
        counts = f"--squares {pattern.columns}x{pattern.rows}"
    else:
        counts = f"--chessboard {pattern.columns - 1}x{pattern.rows - 1}"
    return f"{counts} --square-mm {pattern.square_mm:g}"


def _fits(pattern: Pattern, place: Place, rim_mm: float) -> bool:
    columns, rows = pattern.size_mm
    block = _block(pattern, place)
    needed = rim_mm + rows + rim_mm * GAP_MM / RIM_MM + block.height_mm + EDGE_MM
    return (
        columns + 2 * rim_mm <= place.width_mm + 1e-6
        and needed <= place.height_mm + 1e-6
        and block.width_mm <= place.width_mm - 2 * EDGE_MM + 1e-6
    )


def _too_large(pattern: Pattern, place: Place) -> str:
    columns, rows = pattern.size_mm
    told = (
        f"{pattern.columns} x {pattern.rows} squares of {pattern.square_mm:g} mm are "
        f"{columns:g} x {rows:g} mm and do not fit on {place.width_mm:g} x {place.height_mm:g} mm "
        "beside the ruler bar"
    )
    try:
        best = largest_pattern(pattern.square_mm, place, rim_mm=RIM_MM)
    except InputError:
        return f"{told}; take larger paper or smaller squares"
    if not pattern.coded:
        best = replace(best, coded=False)
    return f"{told}; the largest that fits is {options_of(best)}"


# -- the pattern ---------------------------------------------------------------------------


def _squares(pattern: Pattern, left: float, top: float) -> list[Box | Cells]:
    """Black where column + row is even; marks in the others, counted row by row."""
    side = pattern.square_mm
    shapes: list[Box | Cells] = []
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    modules = dictionary.markerSize + 2
    rim = (1 - MARK_SHARE) / 2 * side
    identity = 0
    for row in range(pattern.rows):
        for column in range(pattern.columns):
            x, y = left + column * side, top + row * side
            if (row + column) % 2 == 0:
                shapes.append(Box(x, y, side, side))
            elif pattern.coded:
                picture = cv2.aruco.generateImageMarker(dictionary, identity, modules)
                cell = MARK_SHARE * side / modules
                shapes.append(Cells(x + rim, y + rim, cell, np.array(picture) < 128))
                identity += 1
    return shapes


# -- the ruler bar and the words -----------------------------------------------------------


@dataclass(frozen=True)
class _Block:
    """What stands under the pattern; height_mm from the bar's upper edge to the last line."""

    width_mm: float
    height_mm: float
    shapes: tuple[Box, ...]
    texts: tuple[Text, ...]


def _block(pattern: Pattern, place: Place) -> _Block:
    left = max(EDGE_MM + 3, min((place.width_mm - pattern.size_mm[0]) / 2, 25.0))
    if place.etched:
        left = max(left, RIM_MM)
    bar_mm = pattern.bar_mm
    bar_height = BAR_MM + TICK_MM + DIGITS_MM + 0.6
    width = place.width_mm - 2 * left
    beside = width - bar_mm - BESIDE_MM
    if beside >= WIDE_MM and not place.etched:
        lines = _lines(pattern, beside, 2.6, etched=False)
        height = max(bar_height, _height(lines))
        x, y = left + bar_mm + BESIDE_MM, 0.0
    else:
        lines = _lines(pattern, width, 2.4, etched=place.etched)
        height = bar_height + 1.5 + _height(lines)
        x, y = left, bar_height + 1.5
    top = place.height_mm - EDGE_MM - height
    texts = []
    baseline = top + y
    for size, words, style in lines:
        texts.append(Text(x, baseline + 0.8 * size, size, words, style))
        baseline += _pitch(size)
    shapes, digits = _bar(bar_mm, left, top)
    return _Block(max(width, bar_mm), height, tuple(shapes), (*digits, *texts))


def _bar(length: float, left: float, top: float) -> tuple[list[Box], list[Text]]:
    """Both ends are the outer edges of the end ticks, so that callipers find them crisp."""
    step = 10.0 if length >= 50 else 5.0
    shapes, digits = [Box(left, top, length, BAR_MM)], []
    count = round(length / step)
    for k in range(count + 1):
        middle = min(max(k * step, TICK_WIDTH_MM / 2), length - TICK_WIDTH_MM / 2)
        x = left + middle - TICK_WIDTH_MM / 2
        shapes.append(Box(x, top + BAR_MM, TICK_WIDTH_MM, TICK_MM))
        words = f"{k * step:g}"
        half = len(words) * DIGIT_EM * DIGITS_MM / 2
        baseline = top + BAR_MM + TICK_MM + 0.3 + 0.8 * DIGITS_MM
        digits.append(Text(left + k * step - half, baseline, DIGITS_MM, words))
    last = digits[-1]
    unit_x = last.x_mm + len(last.words) * DIGIT_EM * DIGITS_MM + 1.0
    digits.append(Text(unit_x, last.y_mm, DIGITS_MM, "mm"))
    return shapes, digits


def _title(pattern: Pattern) -> str:
    if pattern.coded:
        kind = f"drillaid test board: {pattern.columns} x {pattern.rows} squares"
        return f"{kind} of {pattern.square_mm:g} mm"
    corners = f"{pattern.columns - 1} x {pattern.rows - 1} inner corners"
    return f"drillaid chessboard: {corners}, squares of {pattern.square_mm:g} mm"


def _lines(pattern: Pattern, width: float, size: float, *, etched: bool):
    """[(size_mm, words, style)] filled to the width."""
    bar = f"{pattern.bar_mm:g} mm"
    told = [(size, _title(pattern), "bold")]
    if not etched:
        told += [
            (size, 'Print at 100 % ("actual size"), never "fit to page". Glue it flat onto '
             "something stiff, such as glass.", "plain"),
            (size, f"Measure the black bar from end to end with callipers: {bar} as drawn. "
             "Then type, with its length:", "plain"),
        ]  # fmt: skip
    command = f"drillaid calibrate lens PHOTOS --rig rig.toml {options_of(pattern)} --ruler-mm ____"
    command = command.replace(" ____", f"{TIED}____")
    told.append((0.85 * size, options_of(pattern) if etched else command, "mono"))
    return [
        (line_size, line.replace(TIED, " "), style)
        for line_size, words, style in told
        for line in textwrap.wrap(
            words, max(20, int(width / (LETTER_EM[style] * line_size))), break_on_hyphens=False
        )
    ]


def _pitch(size: float) -> float:
    return 1.45 * size


def _height(lines) -> float:
    return sum(_pitch(size) for size, _, _ in lines)


# -- lands to drill ------------------------------------------------------------------------


def _lands(place: Place) -> tuple[Land, ...]:
    """Two columns in the side rims: to register, guide and inspect this very board by.

    The uppermost on the left is left out, so that no half turn maps them onto themselves.
    """
    first = LAND_FROM_EDGE_MM
    span = place.height_mm - 2 * first
    count = max(6, round(span / LAND_STEP_MM) + 1)
    return tuple(
        Land(x, first + k * span / (count - 1), LAND_MM, DRILL_MM)
        for x in (first, place.width_mm - first)
        for k in range(count)
        if not (x == first and k == 0)
    )
