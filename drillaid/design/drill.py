"""NC drill files (IPC-NC-349 family with its XNC subset) to a list of holes."""

from __future__ import annotations

import math

import numpy as np

from drillaid.design import drill_body, evidence
from drillaid.design.drill_format import (
    USUAL_DIGITS,
    NumberFormat,
    candidates,
    whole_numbers_short,
    zero_evidence,
)
from drillaid.design.drill_program import Program, Tool
from drillaid.design.drill_run import Hit, run
from drillaid.design.evidence import Extent, Reading
from drillaid.design.holelist import HoleList, Spot, refuse_too_many, short_list
from drillaid.errors import DesignError

LARGEST_MM = 50.0  # no bench drill takes more; larger is a misread number
_DEFAULT_BONUS = 4.0  # the digits the format itself gives where the header is silent
_LIKE_BONUS = 6.0
_FAR_MM = 20_000.0
_FEW = 8  # holes; fewer say little about the size of a board


def read_drill(
    data: bytes, name: str, extent: Extent | None = None, like: NumberFormat | None = None
) -> HoleList:
    """Holes of one drill file in the order drilled.

    extent: where the holes must lie, from outline or copper; used as evidence
      only where the header leaves the number format open.
    like: how a larger file of the same export was read, evidence of the same kind
    Raises DesignError with file and line for what is wrong or cannot be decided.
    """
    program = drill_body.parse(data, name)
    if not program.numbers() and not any(step.kind == "plunge" for step in program.steps):
        return HoleList(name, "drill", (), "no holes", tuple(program.warnings()))
    _known_tools(program)
    number_format, hits, told = _decide(program, extent, like)
    spots = tuple(_spots(program, number_format, hits))
    warnings = ([told] if told else []) + program.warnings()
    units = str(number_format)
    if program.said.digits is None and number_format.zeros != "point":
        units += " (number of digits not stated)"
    return HoleList(name, "drill", spots, units, tuple(warnings), bool(told), number_format)


# -- which number format ----------------------------------------------------


def _decide(
    program: Program, extent: Extent | None, like: NumberFormat | None
) -> tuple[NumberFormat, list[Hit], str | None]:
    """The format, the holes it gives, and a warning if the header alone did not say it."""
    numbers = program.numbers()
    formats = candidates(program.said, numbers)
    runs = [(number_format, run(program, number_format)) for number_format in formats]
    if len(runs) == 1:
        return *runs[0], None
    zeros = zero_evidence(numbers)
    pointed = any("." in text for text in numbers) and whole_numbers_short(numbers)
    readings = []
    for how, hits in runs:
        points = zeros[how.zeros] + (_LIKE_BONUS if how == like else 0.0)
        if (pointed and how.zeros == "point") or (
            not pointed and program.said.digits is None and _is_usual(how)
        ):
            points += _DEFAULT_BONUS
        readings.append(_reading(program, how, hits, extent, points))
    best, next_best = evidence.choose(readings)
    warning = None
    if next_best is not None:
        if best.score - next_best.score < evidence.MARGIN:
            best, next_best = _by_rule(program, best, next_best)
        warning = _told(program, best, next_best, readings, extent)
    return best.how, dict(runs)[best.how], warning


def _by_rule(program: Program, best: Reading, next_best: Reading) -> tuple[Reading, Reading]:
    """Digits have a default in the format; where only they are open, it settles a draw.

    Unless enough holes speak against it: then neither reading is to be trusted.
    """
    if not program.said.missing() and not program.said.clashes:
        if _is_usual(best.how):
            return best, next_best
        if _is_usual(next_best.how) and len(best.xy_mm) < _FEW:
            return next_best, best
    raise _undecided(program, best, next_best)


def _is_usual(number_format: NumberFormat) -> bool:
    digits = number_format.whole, number_format.fraction
    return number_format.zeros != "point" and digits == USUAL_DIGITS[number_format.unit][0]


def _reading(program: Program, number_format, hits, extent, points: float) -> Reading:
    xy = np.array([(hit.x, hit.y) for hit in hits], dtype=np.float64).reshape(-1, 2)
    ends = [hit.end for hit in hits if hit.end is not None]
    if ends:
        xy = np.vstack([xy, ends])
    sizes = {tool.number: _plausible_mm(tool, number_format) for tool in program.tools.values()}
    drills = [sizes.get(hit.tool, math.nan) for hit in hits]
    drill_mm = np.array(drills + [math.nan] * len(ends), dtype=np.float64)
    score = evidence.plausibility(xy, drill_mm, extent) + points
    return Reading(number_format, xy, score)


def _plausible_mm(tool: Tool, number_format: NumberFormat) -> float:
    try:
        return float(tool.diameter or "nan") * number_format.mm
    except ValueError:
        return math.nan


def _told(program: Program, best, next_best, readings, extent: Extent | None) -> str | None:
    """What to say about the choice; nothing where the format's own rules made it."""
    gaps, clashes = program.said.missing(), program.said.clashes
    if _either_zeros(best, readings):
        gaps = [gap for gap in gaps if "zeros" not in gap]
    by_default = _is_usual(best.how) and (best.score >= next_best.score or len(best.xy_mm) < _FEW)
    plain = best.how.zeros != "point"
    if plain and not gaps and not clashes and (by_default or program.said.digits):
        return None
    why = [f"holes span {evidence.size_text(best.xy_mm)}"]
    if extent is not None:
        width, height = extent.size_mm
        why[0] += f" on a board of {width:.4g} x {height:.4g} mm ({extent.source})"
    why.append(f"read as {next_best.how} they would span {evidence.size_text(next_best.xy_mm)}")
    if any("." in text for text in program.numbers()):
        cause = "numbers with and without decimal points are mixed"
        if gaps:
            cause += " and the header does not say " + " nor ".join(gaps)
    elif clashes:
        what, value, line = clashes[0]
        cause = f"line {line} contradicts line {getattr(program.said, what).line} on the {what}"
    elif gaps:
        cause = "the header does not say " + " nor ".join(gaps)
    else:
        cause = "the header does not give the number of digits"
    return f"{program.name}: {cause}; read as {best.how} because the {'; '.join(why)}"


def _either_zeros(best: Reading, readings: list[Reading]) -> bool:
    """True where LZ and TZ give the same places with the digits chosen: nothing was dropped."""
    how = best.how
    twins = [
        reading
        for reading in readings
        if (reading.how.unit, reading.how.whole, reading.how.fraction)
        == (how.unit, how.whole, how.fraction)
        and {reading.how.zeros, how.zeros} == {"LZ", "TZ"}
    ]
    return any(np.allclose(twin.xy_mm, best.xy_mm, atol=1e-4) for twin in twins)


def _undecided(program: Program, best, next_best) -> DesignError:
    unit = "INCH" if best.how.unit == "inch" else "METRIC"
    digits = f"{'0' * best.how.whole}.{'0' * best.how.fraction}"
    example = unit if best.how.zeros == "point" else f"{unit},{best.how.zeros},{digits}"
    line = program.steps[0].line if program.steps else None
    return program.error(
        f"the header leaves open how numbers are written: {best.how} (holes span "
        f"{evidence.size_text(best.xy_mm)}) and {next_best.how} "
        f"({evidence.size_text(next_best.xy_mm)}) are both possible",
        line,
        f"add a line such as {example} to the header, or give the board's outline as well",
    )


# -- tools -------------------------------------------------------------------


def _known_tools(program: Program) -> None:
    """Raises DesignError where a hole's tool has no diameter."""
    first_use: dict[int, int] = {}
    for step in program.steps:
        if step.kind in ("hole", "slot", "plunge", "repeat"):
            first_use.setdefault(step.tool, step.line)
    for number, line in first_use.items():
        tool = program.tools.get(number)
        if tool is None or not (tool.diameter or tool.from_comment_mm):
            raise program.error(
                f"drills with tool T{number}, whose diameter the file does not give",
                line,
                f"add a line such as T{number}C0.8 to the header",
            )


def _diameter_mm(program: Program, tool: Tool, number_format: NumberFormat) -> float:
    """Raises DesignError for a diameter no drill has."""
    if not tool.diameter:
        program.note(
            f"diameter of T{tool.number}, {tool.from_comment_mm:.4g} mm, taken from a comment",
            tool.line,
        )
        return _checked_mm(program, tool, tool.from_comment_mm or 0.0)
    try:
        as_written = float(tool.diameter) * number_format.mm
    except ValueError:
        raise program.error(
            f"'{tool.diameter}' is no diameter", tool.line, "write it like T1C0.8"
        ) from None
    if "." in tool.diameter or 0.1 <= as_written <= 10:
        return _checked_mm(program, tool, as_written)
    decoded = number_format.decoder()(tool.diameter)
    if 0.1 <= decoded <= 10:
        program.note(
            f"diameter C{tool.diameter} has no decimal point; read as {decoded:.4g} mm", tool.line
        )
        return decoded
    return _checked_mm(program, tool, as_written)


def _checked_mm(program: Program, tool: Tool, diameter_mm: float) -> float:
    if 0.0 < diameter_mm <= LARGEST_MM:
        return diameter_mm
    raise program.error(
        f"tool T{tool.number} has a diameter of {diameter_mm:.4g} mm",
        tool.line,
        "correct the diameter, or the unit in the header",
    )


def _spots(program: Program, number_format: NumberFormat, hits: list[Hit]) -> list[Spot]:
    refuse_too_many(len(hits), program.name, None)
    table: dict[int, tuple[float, bool | None]] = {}
    far = []
    spots = []
    for hit in hits:
        if hit.tool not in table:
            tool = program.tools[hit.tool]
            plated = program.plated if tool.plated is None else tool.plated
            table[hit.tool] = _diameter_mm(program, tool, number_format), plated
        if max(abs(hit.x), abs(hit.y), *map(abs, hit.end or (0.0,))) > _FAR_MM:
            far.append(hit.line)
        end = None if hit.end in (None, (hit.x, hit.y)) else hit.end
        spots.append(Spot(hit.x, hit.y, *table[hit.tool], end, hit.line))
    if far:
        raise program.error(
            f"places a hole more than {_FAR_MM / 1000:.0f} m from the origin "
            f"(lines {short_list(far)})",
            far[0],
            "correct the number, or the unit and digits in the header",
        )
    return spots
