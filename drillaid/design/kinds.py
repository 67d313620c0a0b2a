"""What a file is, by its content: names lie, and every exporter has endings of its own."""

from __future__ import annotations

import re

from drillaid.design.csv_holes import looks_like_table
from drillaid.design.netlist import looks_like_netlist
from drillaid.design.sources import Piece
from drillaid.design.text import numbered_lines
from drillaid.errors import DesignError

DRILL, NETLIST, TABLE, BARE_TABLE = "drill", "netlist", "table", "bare table"
COPPER_TOP, COPPER_BOTTOM, OUTLINE, OTHER = "copper-top", "copper-bottom", "outline", "other"
MILLING = "milling"
HOLE_KINDS = (DRILL, NETLIST, TABLE, BARE_TABLE)  # the best source of holes first

_HEAD_BYTES = 60_000  # even: UTF-16 must not be cut within a character
_TOOL_LINE = re.compile(r"T[0-9]{1,4}(?:[,BCFHSZ][-+,.0-9BCFHSZ]*)?$")
_POINT_LINE = re.compile(
    r"(?:N[0-9]+)?(?:G(?:0?[01]|0?5|81|85))?[XY][-+.0-9][-+.0-9XYG]*(?:M1[567])?$"
)
_MILL_LINE = re.compile(r"(?:N[0-9]+)?(?:[GMFST][0-9.]+)*(?:[XY][-+.0-9]+)*Z[-+.0-9]+")


def kind_of(piece: Piece) -> str | None:
    """One of the constants above; None for anything else."""
    from drillaid.design import gerber

    layer = gerber.classify(piece.data, piece.name)
    if layer is not None:
        return layer
    try:
        lines = numbered_lines(piece.data[:_HEAD_BYTES], piece.name)
    except DesignError:
        return None
    if not lines:
        return None
    if looks_like_netlist(lines):
        return NETLIST
    drill = _drill_or_milling(lines)
    if drill is not None:
        return drill
    table = looks_like_table(lines)
    return {"headed": TABLE, "bare": BARE_TABLE}.get(table or "")


def _drill_or_milling(lines: list[tuple[int, str]]) -> str | None:
    head = ["".join(text.split(";")[0].upper().split()) for _, text in lines[:400]]
    if "M48" in head:
        return DRILL
    if sum(_MILL_LINE.match(text) is not None for text in head) >= 2:
        return MILLING
    tools = any(_TOOL_LINE.match(text) for text in head)
    points = sum(_POINT_LINE.match(text) is not None for text in head)
    return DRILL if tools and points else None
