"""`drillaid order`: which hole after which, bit by bit, with the shortest way of the hand."""

from __future__ import annotations

import argparse
import math
import re
import textwrap

from drillaid.commands import Answer
from drillaid.errors import UsageError

SUMMARY = "drilling order by bit"
EXAMPLE = "drillaid order board.drl --start 0,0 --bits 0.8,1.0,1.3"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    # Without this argparse takes "-5,3" for an option and refuses `--start -5,3`.
    parser._negative_number_matcher = re.compile(r"^-[\d.].*$")
    parser.add_argument(
        "design", nargs="+", metavar="DESIGN", help="drill files, a CSV, a netlist, a folder or zip"
    )
    parser.add_argument(
        "--face", choices=("bottom", "top"), default="bottom", help="the face that is up"
    )
    parser.add_argument(
        "--bits", metavar="MM,MM,…", help="the bits at hand, mm (default: common sizes)"
    )
    parser.add_argument(
        "--start", metavar="X,Y", help="where to begin, design mm (default: where it is best)"
    )


def run(args: argparse.Namespace) -> Answer:
    from drillaid.design.bits import DEFAULT_BITS_MM, assign_bits
    from drillaid.design.read import read_design
    from drillaid.guidance.order import plan_order, written_travel_mm

    start = None if args.start is None else _place(args.start)
    sizes = DEFAULT_BITS_MM if args.bits is None else _numbers(args.bits, "--bits 0.8,1.0,1.3")
    design = read_design(args.design, face=args.face)
    bits = [choice.bit_mm for choice in assign_bits(design, sizes)]
    order = plan_order(design, bits, start)
    return Answer(_text(order, written_travel_mm(design, bits)), order.to_json())


def _numbers(text: str, example: str) -> list[float]:
    try:
        numbers = [float(word) for word in text.split(",") if word.strip()]
    except ValueError:
        numbers = [math.nan]
    if not all(math.isfinite(number) for number in numbers):
        raise UsageError(f"'{text}' is no list of numbers", remedy=f"write it like {example}")
    return numbers


def _place(text: str) -> tuple[float, float]:
    place = _numbers(text, "--start 10.5,3")
    if len(place) != 2:
        raise UsageError(f"'{text}' is no place", remedy="give x and y in mm like --start 10.5,3")
    return place[0], place[1]


def _text(order, written_mm: float) -> str:
    changes = max(0, len(order.runs) - 1)
    lines = [
        f"{_count(len(order.holes), 'hole')} with {_count(len(order.runs), 'bit')} "
        f"({_count(changes, 'change')}); "
        f"the hand goes {order.travel_mm:.0f} mm ({written_mm:.0f} mm in the order of the file)."
    ]
    for run in order.runs:
        lines.append("")
        lines.append(
            f"{run.bit_mm:g} mm bit: {_count(len(run.holes), 'hole')}, {run.travel_mm:.0f} mm"
        )
        numbers = " ".join(str(hole) for hole in run.holes)
        lines.append(textwrap.fill(numbers, 78, initial_indent="  ", subsequent_indent="  "))
    return "\n".join(lines)


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}{'' if number == 1 else 's'}"
