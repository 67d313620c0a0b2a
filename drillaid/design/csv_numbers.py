"""Cells of a hole table: numbers, units and the characters between them."""

from __future__ import annotations

import csv
import re

UNIT_MM = {"mm": 1.0, "inch": 25.4, "mil": 0.0254}
_UNIT_WORDS = {
    "mm": "mm",
    "millimeter": "mm",
    "millimeters": "mm",
    "millimetre": "mm",
    "millimetres": "mm",
    "metric": "mm",
    "in": "inch",
    "inch": "inch",
    "inches": "inch",
    '"': "inch",
    "mil": "mil",
    "mils": "mil",
    "thou": "mil",
}
_NUMBER = re.compile(r"([-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9])?)\s*([a-zA-Z\"]*)")
_DECIMAL_COMMA = re.compile(r"[-+]?[0-9]*,[0-9]+\s*[a-zA-Z\"]*")
_UNIT_NOTE = re.compile(r"\bunits?\b\W*([a-z]+)|\ball (?:values|numbers|sizes) in ([a-z]+)")
_LONGEST_CELL = 40


def unit_of(word: str) -> str | None:
    """"mm", "inch" or "mil" for any usual spelling, else None."""
    return _UNIT_WORDS.get(word.strip().lower())


def unit_note(text: str) -> str | None:
    """The unit that a line such as '# units: mm' states, else None."""
    match = _UNIT_NOTE.search(text.lower())
    return unit_of(match[1] or match[2] or "") if match else None


def number(cell: str) -> tuple[float, str | None] | None:
    """(value, unit written behind it or None) of a cell; None if it is no plain number.

    "nan", "inf" and thousands separators are no plain numbers.
    """
    match = _NUMBER.fullmatch(cell.strip()) if len(cell) <= _LONGEST_CELL else None
    if match is None:
        return None
    unit = unit_of(match[2]) if match[2] else None
    if match[2] and unit is None:
        return None
    return float(match[1]), unit


def delimiter_of(lines: list[str]) -> str | None:
    """The separator most lines agree on: semicolon, tab, comma, bar, or None for blanks."""
    sample = lines[:20]
    for character in (";", "\t", ",", "|"):
        if sum(character in line for line in sample) * 2 > len(sample):
            return character
    return None


def split_cells(line: str, delimiter: str | None) -> list[str]:
    """Cells without surrounding blanks. Raises csv.Error for broken quoting."""
    if delimiter is None:
        return line.split()
    cells = line.split(delimiter)
    if any(cell.lstrip().startswith('"') for cell in cells):  # 0.8" is eight tenths of an inch
        cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))
    return [cell.strip() for cell in cells]


def uses_decimal_comma(rows: list[list[str]]) -> bool:
    """True where cells look like 12,7 and none like 12.7."""
    cells = [cell for row in rows for cell in row]
    comma = any(_DECIMAL_COMMA.fullmatch(cell) for cell in cells)
    point = any("." in cell and number(cell) for cell in cells)
    return comma and not point
