"""What one file of any kind says about holes, before files are joined to a design."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from drillaid.design.model import Land
from drillaid.errors import DesignError

MAX_HOLES = 20_000  # a hand-drilled board has 20-300; this stops runaway repeats


class Spot(NamedTuple):
    """One hole or slot in design mm; `line` is where it stands in its file."""

    x_mm: float
    y_mm: float
    drill_mm: float
    plated: bool | None
    slot_to_mm: tuple[float, float] | None
    line: int
    land: Land | None = None
    component: str = ""


@dataclass(frozen=True)
class HoleList:
    """The holes of one file in the order written.

    units: how its numbers were read, for a person
    decided: True where the header left the number format open and evidence chose it
    how: the number format itself, for files of the same export
    """

    name: str
    kind: str
    spots: tuple[Spot, ...]
    units: str
    warnings: tuple[str, ...] = ()
    decided: bool = False
    how: object | None = None


def refuse_too_many(count: int, name: str, line: int | None) -> None:
    """Raises DesignError above MAX_HOLES, before memory is spent on them."""
    if count > MAX_HOLES:
        raise DesignError(
            f"asks for more than {MAX_HOLES:,} holes",
            file=name,
            line=line,
            remedy="check the repeat counts, or split the board",
        )


def counted(count: int, one: str, many: str) -> str:
    """'1 hole lies' or '3 holes lie'."""
    return f"{count} {one if count == 1 else many}"


def short_list(lines, limit: int = 5) -> str:
    """'3, 4, 5, 6, 7 and 12 more' for a warning that must stay one line."""
    lines = list(lines)
    text = ", ".join(str(line) for line in lines[:limit])
    return text if len(lines) <= limit else f"{text} and {len(lines) - limit} more"
