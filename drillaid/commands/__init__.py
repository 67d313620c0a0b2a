"""One module for each command; `drillaid.cli` imports only the one asked for.

A command module has:
    SUMMARY            one line for `drillaid --help`
    EXAMPLE            one working command line
    add_arguments(parser)
    run(args) -> Answer
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, field

DONE, BAD_INPUT, REFUSED, DEVICE_FAILED = 0, 2, 3, 4


@dataclass(frozen=True)
class Answer:
    """What a command found: data is printed by --json, text for a person otherwise."""

    text: str
    data: dict = field(default_factory=dict)
    status: int = DONE


def say(message: str) -> None:
    """Progress for a person; standard output belongs to the answer."""
    print(message, file=sys.stderr, flush=True)


def add_photograph_arguments(parser: argparse.ArgumentParser, *, without_rig: str) -> None:
    """DESIGN…, PHOTO, --rig, --face, --thickness; without_rig: what is missing then."""
    parser.add_argument("design", nargs="+", metavar="DESIGN", help="the files of one board")
    parser.add_argument("photo", metavar="PHOTO", help="the photograph, the last file named")
    parser.add_argument("--rig", metavar="FILE", help=f"the rig file; without one {without_rig}")
    add_face_arguments(parser)


def add_face_arguments(parser: argparse.ArgumentParser) -> None:
    """--face and --thickness, as every command that looks at a board has them."""
    parser.add_argument(
        "--face",
        choices=("bottom", "top"),
        default="bottom",
        help="the face of the design that looks at the camera (default: bottom)",
    )
    parser.add_argument(
        "--thickness", type=float, default=1.6, metavar="MM", help="of the board (default: 1.6)"
    )
