"""What an NC drill file says, before any number in it has been given a size.

`Program` is what `drill_header` and `drill_body` fill and `drill_run` executes.
Numbers stay text here: what they mean may depend on evidence (`drill_format`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

from drillaid.design.drill_format import Said
from drillaid.design.holelist import short_list
from drillaid.errors import DesignError, printable

# what a Step does
MOVE = "move"  # to x, y without drilling
HOLE = "hole"  # drill at x, y
SLOT = "slot"  # from where we are to x, y
PLUNGE = "plunge"  # drill where we are
REPEAT = "repeat"  # count more of the last hole, each x, y further
ZERO = "zero"  # the origin is at x, y from now on
INCREMENTAL = "incremental"  # count 1: x, y are steps from now on; 0: places
PATTERN_START = "pattern start"
PATTERN_END = "pattern end"
COPY = "copy"  # count more of the pattern, each x, y further


class Step(NamedTuple):
    """One instruction; x, y are the file's own digits, None where left out."""

    kind: str
    line: int
    tool: int = 0
    x: str | None = None
    y: str | None = None
    count: int = 0


@dataclass
class Tool:
    """A row of the tool table; `plated` is the attribute in force at its definition."""

    number: int
    line: int
    diameter: str | None = None
    plated: bool | None = None
    from_comment_mm: float | None = None


@dataclass
class Program:
    """All that was read of one file.

    notes: warning -> the lines it stands on, in order of appearance
    """

    name: str
    said: Said = field(default_factory=Said)
    tools: dict[int, Tool] = field(default_factory=dict)
    steps: list[Step] = field(default_factory=list)
    plated: bool | None = None
    attribute_plated: bool | None = None
    format_1: bool = False
    starts_incremental: bool = False
    notes: dict[str, list[int]] = field(default_factory=dict)

    def note(self, warning: str, line: int) -> None:
        self.notes.setdefault(printable(warning), []).append(line)

    def error(self, what: str, line: int | None, remedy: str) -> DesignError:
        return DesignError(what, file=self.name, line=line, remedy=remedy)

    def warnings(self) -> list[str]:
        """One sentence for each note, with its lines."""
        return [
            f"{self.name}, line{'s' if len(lines) > 1 else ''} {short_list(lines)}: {warning}"
            for warning, lines in self.notes.items()
        ]

    def numbers(self) -> list[str]:
        """Every coordinate as written."""
        return [text for step in self.steps for text in (step.x, step.y) if text]
