"""A real fabrication set from the open data beside the repository, where it is present."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from drillaid.design.model import Hole

FOLDER = Path(__file__).resolve().parents[3] / "shared/data/etched/sinsonte"
needed = pytest.mark.skipif(not FOLDER.is_dir(), reason="open data ../shared/data is not here")


def layer(which: str) -> tuple[bytes, str]:
    """(content, name) of "B_Cu", "F_Cu" or "Edge_Cuts"."""
    path = FOLDER / f"SINSONTE-{which}.gbr"
    return path.read_bytes(), path.name


def holes() -> tuple[Hole, ...]:
    """The 126 holes, read by a few lines of the test's own: decimals, millimetres."""
    found: list[Hole] = []
    for name, plated in (("PTH", True), ("NPTH", False)):
        tools, drill = {}, 0.0
        for text in (FOLDER / f"SINSONTE-{name}.drl").read_text().splitlines():
            if match := re.fullmatch(r"T(\d+)C([\d.]+)", text):
                tools[match[1]] = float(match[2])
            elif match := re.fullmatch(r"T(\d+)", text):
                drill = tools.get(match[1], 0.0)
            elif match := re.fullmatch(r"X([-\d.]+)Y([-\d.]+)", text):
                x, y = float(match[1]), float(match[2])
                found.append(Hole(len(found) + 1, x, y, drill, plated))
    return tuple(found)
