"""`drillaid holes`: what a design asks for, before anything is drilled."""

from __future__ import annotations

import argparse
import textwrap
from collections.abc import Iterable, Sequence

from drillaid.commands import Answer
from drillaid.errors import UsageError

SUMMARY = "reads and checks a design: holes, bits, rings, parts, warnings"
EXAMPLE = "drillaid holes board-PTH.drl board-B_Cu.gbr --bits 0.8,1.0,1.3"
WIDTH = 80
# Beyond this no board is drilled by hand, and looking for parts takes too long.
MOST_HOLES_FOR_PARTS = 4000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "design",
        nargs="+",
        metavar="DESIGN",
        help="drill files, Gerber layers, a CSV, an IPC-D-356A netlist, a folder or a zip",
    )
    parser.add_argument(
        "--face",
        choices=("bottom", "top"),
        default="bottom",
        help="the face whose copper gives the lands (default: bottom)",
    )
    parser.add_argument(
        "--bits", metavar="MM,MM,…", help="the bits at hand, in mm (default: the common sizes)"
    )


def run(args: argparse.Namespace) -> Answer:
    from drillaid.design.bits import DEFAULT_BITS_MM, assign_bits, bit_warnings, checked_bits
    from drillaid.design.parts import find_parts
    from drillaid.design.read import read_design

    bits = checked_bits(DEFAULT_BITS_MM if args.bits is None else bit_sizes(args.bits))
    design = read_design(args.design, face=args.face)
    choices = assign_bits(design, bits)
    warnings = [*design.warnings, *bit_warnings(design, choices)]
    parts: Sequence = ()
    if len(design.holes) <= MOST_HOLES_FOR_PARTS:
        parts = find_parts(design)
    else:
        warnings.append(
            f"parts are looked for on boards of up to {MOST_HOLES_FOR_PARTS} holes only"
        )
    data = {
        "holes": [
            _hole_data(hole, land, choice)
            for hole, land, choice in zip(design.holes, design.lands, choices, strict=True)
        ],
        "parts": [
            {"part": part.name, "holes": list(part.holes), "pitch_mm": part.pitch_mm,
             "sure": part.sure}
            for part in parts
        ],  # fmt: skip
        "warnings": warnings,
        "units": design.units,
    }
    return Answer(_text(design, choices, parts, warnings), data)


def bit_sizes(text: str) -> list[float]:
    """The numbers of --bits; UsageError shows how to write them."""
    try:
        return [float(word) for word in text.split(",") if word.strip()]
    except ValueError:
        raise UsageError(
            f"'{text}' is no list of bit sizes", remedy="write it like --bits 0.8,1.0,1.3"
        ) from None


def _hole_data(hole, land, choice) -> dict:
    return {
        "hole": hole.number,
        "xy_mm": _rounded(hole.xy_mm),
        "drill_mm": round(hole.drill_mm, 4),
        "bit_mm": choice.bit_mm,
        "plated": hole.plated,
        "slot_to_mm": None if hole.slot_to_mm is None else _rounded(hole.slot_to_mm),
        "land_mm": None if land is None else _rounded(land.size_mm),
        "ring_mm": None if choice.ring_mm is None else round(float(choice.ring_mm), 4),
    }


def _rounded(values: Iterable[float]) -> list[float]:
    """To 0.01 µm: hides the noise of binary fractions, nothing else."""
    return [round(float(value), 5) for value in values]


# -- text for a person ---------------------------------------------------------


def _text(design, choices, parts, warnings: Sequence[str]) -> str:
    blocks = [_headline(design), _bit_table(design, choices)]
    if parts:
        blocks.append(_part_table(parts))
    if warnings:
        blocks.append("\n".join(["Warnings", *(_wrapped(text, "  ! ") for text in warnings)]))
    else:
        blocks.append("No warnings.")
    return "\n\n".join(blocks)


def _headline(design) -> str:
    slots = sum(hole.slot_to_mm is not None for hole in design.holes)
    count = f"{len(design.holes)} hole{'s' if len(design.holes) != 1 else ''}"
    if slots:
        count += f", {slots} of them slot{'s' if slots != 1 else ''}"
    facts = [f"{design.name}: {count}"]
    if design.outline is not None:
        width, height = design.outline.size_mm
        facts.append(f"board {width:.1f} x {height:.1f} mm")
    else:
        width, height = design.xy_mm.max(axis=0) - design.xy_mm.min(axis=0)
        facts.append(f"hole pattern {width:.1f} x {height:.1f} mm")
    lines = [_wrapped(", ".join(facts), "")]
    lines.append(_wrapped(f"Read from {', '.join(design.files)} ({design.units}).", ""))
    return "\n".join(lines)


def _bit_table(design, choices) -> str:
    rows = ["Bit       Holes  Asked for (mm)        Narrowest ring  Hole numbers"]
    by_bit: dict[float, list[int]] = {}
    for index, choice in enumerate(choices):
        by_bit.setdefault(choice.bit_mm, []).append(index)
    for bit, members in sorted(by_bit.items()):
        asked = sorted({round(design.holes[i].drill_mm, 3) for i in members})
        rings = [choices[i].ring_mm for i in members if choices[i].ring_mm is not None]
        ring = f"{min(rings):.2f} mm" if rings else "no land known"
        start = (
            f"{f'{bit:g} mm':<8}  {len(members):>5}  "
            f"{_few(f'{size:g}' for size in asked):<20}  {ring:<14}  "
        )
        numbers = _ranges(design.holes[i].number for i in members)
        rows.append(_wrapped(numbers, start, indent=len(start)))
    return "\n".join(rows)


def _few(words: Iterable[str], width: int = 20) -> str:
    """As many words as fit, the rest counted."""
    words = list(words)
    text = ", ".join(words)
    kept = len(words)
    while len(text) > width and kept > 1:
        kept -= 1
        text = ", ".join(words[:kept]) + f" +{len(words) - kept}"
    return text


def _part_table(parts) -> str:
    """Alike parts share a paragraph: twelve two-row sockets are one thing to look at."""
    alike: dict[str, list[str]] = {}
    for part in parts:
        alike.setdefault(part.name, []).append(_ranges(part.holes))
    lines = ["Parts whose holes must fit together"]
    for name, holes in alike.items():
        count = f"{len(holes)} x " if len(holes) > 1 else ""
        lines.append(_wrapped(f"{count}{name}: holes {'; '.join(holes)}", "  "))
    return "\n".join(lines)


def _ranges(numbers: Iterable[int]) -> str:
    """"1-4, 7, 9-10", sorted."""
    from drillaid.design.bits import runs_of

    runs = runs_of(numbers)
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in runs)


def _wrapped(text: str, start: str, *, indent: int | None = None) -> str:
    """Filled to 80 columns; `start` begins the first line, blanks the others."""
    width = len(start) if indent is None else indent
    return textwrap.fill(
        text,
        WIDTH,
        initial_indent=start,
        subsequent_indent=" " * width,
        break_on_hyphens=False,
        break_long_words=False,
    )
