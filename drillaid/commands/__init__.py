"""One module for each command; `drillaid.cli` imports only the one asked for.

A command module has:
    SUMMARY            one line for `drillaid --help`
    EXAMPLE            one working command line
    add_arguments(parser)
    run(args) -> Answer
"""

from __future__ import annotations

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
