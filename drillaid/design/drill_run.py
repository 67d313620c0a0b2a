"""Carries out a drill `Program` with one number format: steps to places in mm."""

from __future__ import annotations

from dataclasses import dataclass

from drillaid.design import drill_program as program_of
from drillaid.design.drill_format import NumberFormat
from drillaid.design.drill_program import Program, Step
from drillaid.design.holelist import refuse_too_many


@dataclass
class Hit:
    """A hole (end is None) or slot of tool `tool`, mm."""

    x: float
    y: float
    tool: int
    line: int
    end: tuple[float, float] | None = None


def run(program: Program, number_format: NumberFormat) -> list[Hit]:
    """Every hole in the order drilled. Raises DesignError for endless repeats."""
    machine = _Machine(program, number_format)
    act = machine.actions()
    for step in program.steps:
        act[step.kind](step)
    return machine.hits


class _Machine:
    def __init__(self, program: Program, number_format: NumberFormat):
        self.program = program
        self.mm = number_format.decoder()
        self.hits: list[Hit] = []
        self.x = self.y = 0.0
        self.zero = (0.0, 0.0)
        self.incremental = program.starts_incremental
        self.pattern = (0, 0)
        self.copy_offset = (0.0, 0.0)

    def actions(self):
        return {
            program_of.MOVE: self._move,
            program_of.HOLE: self._hole,
            program_of.SLOT: self._slot,
            program_of.PLUNGE: self._plunge,
            program_of.REPEAT: self._repeat,
            program_of.ZERO: self._set_zero,
            program_of.INCREMENTAL: self._set_incremental,
            program_of.PATTERN_START: self._pattern_start,
            program_of.PATTERN_END: self._pattern_end,
            program_of.COPY: self._copy,
        }

    def _move(self, step: Step) -> None:
        if self.incremental:
            self.x += self.mm(step.x) if step.x is not None else 0.0
            self.y += self.mm(step.y) if step.y is not None else 0.0
            return
        if step.x is not None:
            self.x = self.mm(step.x) + self.zero[0]
        if step.y is not None:
            self.y = self.mm(step.y) + self.zero[1]

    def _hole(self, step: Step) -> None:
        self._move(step)
        self._plunge(step)

    def _plunge(self, step: Step) -> None:
        self.hits.append(Hit(self.x, self.y, step.tool, step.line))

    def _slot(self, step: Step) -> None:
        x, y = self.x, self.y
        self._move(step)
        self.hits.append(Hit(x, y, step.tool, step.line, (self.x, self.y)))

    def _offset(self, step: Step) -> tuple[float, float]:
        return self.mm(step.x or ""), self.mm(step.y or "")

    def _repeat(self, step: Step) -> None:
        refuse_too_many(len(self.hits) + step.count, self.program.name, step.line)
        if not self.hits or self.hits[-1].end is not None:
            raise self.program.error(
                "R repeats a hole, but no hole stands before it", step.line, "correct the line"
            )
        dx, dy = self._offset(step)
        for _ in range(step.count):
            self.x += dx
            self.y += dy
            self._plunge(step)

    def _set_zero(self, step: Step) -> None:
        self.zero = self._offset(step)

    def _set_incremental(self, step: Step) -> None:
        self.incremental = bool(step.count)

    def _pattern_start(self, step: Step) -> None:
        self.pattern = (len(self.hits), len(self.hits))

    def _pattern_end(self, step: Step) -> None:
        self.pattern = (self.pattern[0], len(self.hits))
        self.copy_offset = (0.0, 0.0)

    def _copy(self, step: Step) -> None:
        """M02 counts from the last copy, so offsets add up."""
        if self.incremental:
            raise self.program.error(
                "M02 repeats a pattern in incremental mode, where it is not clear from where",
                step.line,
                "export absolute coordinates (G90)",
            )
        first, last = self.pattern
        total = len(self.hits) + step.count * max(1, last - first)
        refuse_too_many(total, self.program.name, step.line)
        original = self.hits[first:last]
        if not original:
            return
        dx, dy = self._offset(step)
        for _ in range(step.count):
            ox, oy = self.copy_offset = self.copy_offset[0] + dx, self.copy_offset[1] + dy
            for hit in original:
                end = None if hit.end is None else (hit.end[0] + ox, hit.end[1] + oy)
                self.hits.append(Hit(hit.x + ox, hit.y + oy, hit.tool, step.line, end))
