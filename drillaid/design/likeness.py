"""Two equal rows face to face: one part on two rows, or small parts side by side?

A dual in-line package and a line of resistors leave the same holes. What tells them apart,
surest first: the name of the component, where a file gives it (a netlist does); the
land of another shape that marks pin 1, once on a package and once on every small part; the
spacing and the number of holes, since nobody sets a dozen resistors at 2.54 mm exactly
where a package would be. What these leave open is left open.
"""

from __future__ import annotations

from collections.abc import Sequence

from drillaid.design.model import Design

ONE, SEVERAL, OPEN = "one part", "several parts", "open"

# Common practice, no source: packages and modules stand on these, in mm.
PACKAGE_PITCH_MM = 2.54
PACKAGE_ROWS_MM = (7.62, 15.24)  # widely quoted for DIP
FEW_IN_A_ROW = 6  # so many two-lead parts side by side are still likely
NEAR_MM = 0.06


def likeness(
    design: Design,
    first: Sequence[int],
    second: Sequence[int],
    pitch_mm: float,
    spacing_mm: float,
) -> str:
    """ONE, SEVERAL or OPEN; first, second: indices of the rows' holes, in one direction."""
    names = {design.holes[i].component for i in (*first, *second)}
    if len(names) == 1 and "" not in names:
        return ONE
    marked = _by_marks(design, first, second)
    if marked is not None:
        return marked
    if abs(spacing_mm - pitch_mm) <= NEAR_MM:
        return ONE  # two-row headers; no part with two leads is so small
    if abs(pitch_mm - PACKAGE_PITCH_MM) > NEAR_MM:
        return OPEN
    if len(first) > FEW_IN_A_ROW and _on_the_grid(spacing_mm):
        return ONE
    return OPEN


def _on_the_grid(spacing_mm: float) -> bool:
    steps = spacing_mm / PACKAGE_PITCH_MM
    return abs(steps - round(steps)) * PACKAGE_PITCH_MM <= NEAR_MM


def _by_marks(design: Design, first, second) -> str | None:
    """Which lands have corners where the others are round, or the other way about."""
    lands = [[design.lands[i] for i in row] for row in (first, second)]
    if any(land is None for row in lands for land in row):
        return None
    square = [[land.shape == "rectangle" for land in row] for row in lands]
    for rows in (square, [[not mark for mark in row] for row in square]):
        counts = [sum(row) for row in rows]
        if sorted(counts) == [0, len(first)]:
            return SEVERAL  # each small part has its own first pin, all on one side
        if sorted(counts) == [0, 1]:
            row = rows[counts.index(1)]
            return ONE if row[0] or row[-1] else None
    return None
