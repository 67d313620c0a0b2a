"""A table of holes (x, y, diameter) in a text file to a list of holes."""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass, field

import numpy as np

from drillaid.design import evidence
from drillaid.design.csv_numbers import (
    UNIT_MM,
    delimiter_of,
    number,
    split_cells,
    unit_note,
    unit_of,
    uses_decimal_comma,
)
from drillaid.design.evidence import Extent, Reading
from drillaid.design.holelist import HoleList, Spot, refuse_too_many
from drillaid.design.text import numbered_lines
from drillaid.errors import DesignError

LARGEST_MM = 50.0
_LONGEST_HEADING = 40
_FAR_MM = 20_000.0
# column names without unit, blanks, case and punctuation -> what the column is
_NAMES = {
    "x": "x x1 xpos posx xposition positionx xcoord xcoordinate xcenter centerx xcentre centrex"
    " holex xmid midx",
    "y": "y y1 ypos posy yposition positiony ycoord ycoordinate ycenter centery ycentre centrey"
    " holey ymid midy",
    "diameter": "diameter dia d drill drilldiameter drillsize drilldia holediameter holesize"
    " holedia diam bit bitsize bitdiameter tooldiameter toolsize finishedsize ø",
    "hole": "hole",
    "plated": "plated plating pth isplated",
    "x2": "x2 xend endx slotx slottox xto tox",
    "y2": "y2 yend endy sloty slottoy yto toy",
}
_COLUMN = {name: column for column, names in _NAMES.items() for name in names.split()}
_YES = {"yes", "y", "true", "1", "plated", "pth", "p"}
_NO = {"no", "n", "false", "0", "nonplated", "unplated", "npth", "notplated", "np", "u"}
_HEADING_UNIT = re.compile(r"^(.*?)[\s_.\-]*[(\[]?\s*\b(mm|in|inch|inches|mils?|thou)\s*[)\]]?$")


@dataclass
class _Table:
    name: str
    columns: dict[str, int] = field(default_factory=dict)
    units: dict[str, str] = field(default_factory=dict)  # of the heading, by column
    unit: str | None = None  # of the whole file
    rows: list[tuple[int, list[str]]] = field(default_factory=list)
    heading_line: int | None = None

    def error(self, what: str, line: int | None, remedy: str) -> DesignError:
        return DesignError(what, file=self.name, line=line, remedy=remedy)


def read_csv(data: bytes, name: str, extent: Extent | None = None) -> HoleList:
    """Holes of a table, row by row. Raises DesignError with the line for what is no hole."""
    table = _table(numbered_lines(data, name), name)
    refuse_too_many(len(table.rows), name, None)
    cells = [_row(table, line, row) for line, row in table.rows]
    xy_unit, diameter_unit, warning = _units(table, cells, extent)
    spots = tuple(_spot(table, cell, xy_unit, diameter_unit) for cell in cells)
    units = xy_unit if xy_unit == diameter_unit else f"{xy_unit}, diameters in {diameter_unit}"
    warnings = (warning,) if warning else ()
    return HoleList(name, "csv", spots, units, warnings, bool(warning))


def looks_like_table(lines: list[tuple[int, str]]) -> str | None:
    """"headed" for a table with x, y and diameter headings, "bare" for three numbers a line."""
    head = [text for _, text in lines[:40] if text[0] != "#" and not unit_note(text)][:20]
    if not head:
        return None
    delimiter = delimiter_of(head)
    columns, _ = _columns(_cells(head[0], delimiter))
    if {"x", "y"} <= columns.keys() and {"diameter", "hole"} & columns.keys():
        return "headed"
    rows = [_cells(text, delimiter) for text in head]
    if uses_decimal_comma(rows) and delimiter != ",":
        rows = [[cell.replace(",", ".") for cell in row] for row in rows]
    plain = sum(len(row) == 3 and all(map(number, row)) for row in rows)
    return "bare" if plain * 5 >= len(rows) * 4 else None


def _cells(text: str, delimiter: str | None) -> list[str]:
    try:
        return split_cells(text, delimiter)
    except csv.Error:
        return [text]


# -- lines to cells ------------------------------------------------------------


def _table(lines: list[tuple[int, str]], name: str) -> _Table:
    table = _Table(name)
    kept = []
    for line, text in lines:
        stated = unit_note(text) if number(text.split(",")[0]) is None else None
        if stated and not _columns(_cells(text, delimiter_of([text])))[0].keys() >= {"x", "y"}:
            table.unit = stated
        elif not text.startswith(("#", "//")):
            kept.append((line, text))
    delimiter = delimiter_of([text for _, text in kept])
    rows = []
    for line, text in kept:
        try:
            rows.append((line, split_cells(text, delimiter)))
        except csv.Error as error:
            raise table.error(f"broken quotes ({error})", line, "correct the line") from None
    if uses_decimal_comma([row for _, row in rows]) and delimiter != ",":
        rows = [(line, [cell.replace(",", ".") for cell in row]) for line, row in rows]
    _take_heading(table, rows)
    return table


def _take_heading(table: _Table, rows: list[tuple[int, list[str]]]) -> None:
    if not rows:
        raise table.error("lists no holes", None, "give a table of x, y and diameter")
    line, first = rows[0]
    if any(number(cell) for cell in first):
        if len(first) != 3:
            raise table.error(
                f"has {len(first)} columns and no headings",
                line,
                "add a first line such as x,y,diameter",
            )
        table.columns = {"x": 0, "y": 1, "diameter": 2}
        table.rows = rows
        return
    table.columns, table.units = _columns(first)
    table.heading_line, table.rows = line, rows[1:]
    if "diameter" not in table.columns and "hole" in table.columns:
        _hole_column_is_diameter(table)
    missing = [name for name in ("x", "y", "diameter") if name not in table.columns]
    if missing:
        raise table.error(
            f"has no column for {' and '.join(missing)}", line, "name the columns x, y, diameter"
        )


def _hole_column_is_diameter(table: _Table) -> None:
    """A column headed "hole" holds sizes, unless it merely counts 1, 2, 3, …"""
    at = table.columns["hole"]
    values = [number(row[at]) if at < len(row) else None for _, row in table.rows]
    counting = all(v and v[0] == i for i, v in enumerate(values, start=1))
    if not counting or len(values) < 2:
        table.columns["diameter"] = at
        if "hole" in table.units:
            table.units["diameter"] = table.units["hole"]


def _columns(heading: list[str]) -> tuple[dict[str, int], dict[str, str]]:
    columns: dict[str, int] = {}
    units: dict[str, str] = {}
    for index, cell in enumerate(heading):
        text = cell.strip("\"' ").lower()
        if len(text) > _LONGEST_HEADING:
            continue
        column = _COLUMN.get(re.sub(r"[^a-z0-9ø]", "", text))
        match = _HEADING_UNIT.match(text.replace("_", " ")) if column is None else None
        if match:
            column = _COLUMN.get(re.sub(r"[^a-z0-9ø]", "", match[1]))
        if column is None or column in columns:
            continue
        columns[column] = index
        if match and (unit := unit_of(match[2])):
            units[column] = unit
    return columns, units


# -- cells to holes --------------------------------------------------------------


@dataclass
class _Cells:
    """One row's numbers as (value, own unit or None)."""

    line: int
    numbers: dict[str, tuple[float, str | None]]
    plated: bool | None


def _row(table: _Table, line: int, row: list[str]) -> _Cells:
    numbers = {}
    for column in ("x", "y", "diameter", "x2", "y2"):
        at = table.columns.get(column)
        text = row[at] if at is not None and at < len(row) else ""
        if not text:
            if column in ("x2", "y2"):
                continue
            raise table.error(f"has no {column}", line, "fill in the value or delete the row")
        value = number(text)
        if value is None:
            raise table.error(
                f"'{text[:24]}' in column {column} is no number", line, "correct or delete the row"
            )
        numbers[column] = value
    if ("x2" in numbers) != ("y2" in numbers):
        raise table.error("has only one of x2 and y2", line, "give a slot's other end in full")
    return _Cells(line, numbers, _plated(table, line, row))


def _plated(table: _Table, line: int, row: list[str]) -> bool | None:
    at = table.columns.get("plated")
    text = row[at].strip("\"' ").lower() if at is not None and at < len(row) else ""
    word = re.sub(r"[^a-z0-9]", "", text)
    if not word:
        return None
    if word in _YES or word in _NO:
        return word in _YES
    raise table.error(f"'{text[:20]}' does not say whether plated", line, "write yes or no")


def _units(table: _Table, cells: list[_Cells], extent) -> tuple[str, str, str | None]:
    """Units of places and of diameters, and a warning where evidence chose them."""
    xy_unit = table.units.get("x") or table.units.get("y") or table.unit
    diameter_unit = table.units.get("diameter") or table.unit
    if table.units.get("x", xy_unit) != table.units.get("y", xy_unit):
        raise table.error("gives x and y in different units", table.heading_line, "use one unit")
    own_xy = all(cell.numbers["x"][1] and cell.numbers["y"][1] for cell in cells)
    own_diameter = all(cell.numbers["diameter"][1] for cell in cells)
    if (xy_unit or own_xy) and (diameter_unit or own_diameter):
        return xy_unit or "mm", diameter_unit or "mm", None
    xy_options = (xy_unit,) if xy_unit or own_xy else tuple(UNIT_MM)
    options = [
        (xy or "mm", diameter_unit or (xy if not own_diameter else "mm") or "mm")
        for xy in xy_options
    ]
    if len(options) == 1 and not own_diameter and diameter_unit is None:
        options = [(options[0][0], unit) for unit in UNIT_MM]
    readings = [_reading(table, cells, option, extent) for option in options]
    best, next_best = max(readings, key=lambda r: r.score), None
    rest = [reading for reading in readings if reading is not best]
    next_best = max(rest, key=lambda r: r.score)
    if best.score - next_best.score < evidence.MARGIN:
        raise table.error(
            f"gives no unit; {best.how[0]} (holes span {evidence.size_text(best.xy_mm)}) and "
            f"{next_best.how[0]} ({evidence.size_text(next_best.xy_mm)}) are both possible",
            table.heading_line or (cells[0].line if cells else None),
            "add a line such as # units: mm, or head the columns x_mm, y_mm, diameter_mm",
        )
    drills = sorted({round(cell.numbers["diameter"][0], 4) for cell in cells})[:3]
    said = f"diameters such as {', '.join(f'{d:g}' for d in drills)}"
    if best.how[0] != best.how[1]:
        said += f" ({best.how[1]})"
    return *best.how, (
        f"{table.name}: the table gives no unit; read as {best.how[0]} because of {said} "
        f"and because the holes then span {evidence.size_text(best.xy_mm)}"
    )


def _mm(value: tuple[float, str | None], unit: str) -> float:
    return value[0] * UNIT_MM[value[1] or unit]


def _reading(table: _Table, cells: list[_Cells], units: tuple[str, str], extent) -> Reading:
    xy = [(_mm(c.numbers["x"], units[0]), _mm(c.numbers["y"], units[0])) for c in cells]
    drill = [_mm(c.numbers["diameter"], units[1]) for c in cells]
    xy_mm = np.array(xy, dtype=np.float64).reshape(-1, 2)
    score = evidence.plausibility(xy_mm, np.array(drill, dtype=np.float64), extent)
    return Reading(units, xy_mm, score)


def _spot(table: _Table, cell: _Cells, xy_unit: str, diameter_unit: str) -> Spot:
    x, y = (_mm(cell.numbers[c], xy_unit) for c in ("x", "y"))
    drill = _mm(cell.numbers["diameter"], diameter_unit)
    end = None
    if "x2" in cell.numbers:
        end = tuple(_mm(cell.numbers[c], xy_unit) for c in ("x2", "y2"))
        end = None if end == (x, y) else end
    if not 0 < drill <= LARGEST_MM:
        raise table.error(
            f"has a diameter of {drill:.4g} mm", cell.line, "correct the diameter or the unit"
        )
    if max(abs(x), abs(y), *map(abs, end or (0.0,))) > _FAR_MM or not math.isfinite(x + y):
        raise table.error(
            f"places a hole more than {_FAR_MM / 1000:.0f} m from the origin",
            cell.line,
            "correct the number or the unit",
        )
    return Spot(x, y, drill, cell.plated, end, cell.line)
