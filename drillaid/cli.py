"""The command line: `drillaid COMMAND …`. Imports a command's module only when it is asked for."""

from __future__ import annotations

import argparse
import importlib
import json
import os
import sys

from drillaid import __version__
from drillaid.errors import DrillaidError, printable

# command words -> (module, summary). The summary stands here so that --help
# imports nothing heavy; a test holds it against the module's own.
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("drillaid.commands.demo", "the whole job on the simulated bench"),
    "holes": (
        "drillaid.commands.holes",
        "reads and checks a design: holes, bits, rings, parts, warnings",
    ),
    "register": ("drillaid.commands.register", "where the board lies in one photograph"),
    "order": ("drillaid.commands.order", "drilling order by bit"),
    "guide": ("drillaid.commands.guide", "live guidance, hole by hole"),
    "inspect": ("drillaid.commands.inspect", "measures a drilled board"),
    "calibrate target": (
        "drillaid.commands.calibrate.target",
        "draws the test board or the reference marks, to print or to etch",
    ),
    "calibrate lens": (
        "drillaid.commands.calibrate.lens",
        "how the camera's lens sees, from photographs of the test board or live",
    ),
    "calibrate bench": (
        "drillaid.commands.calibrate.bench",
        "the bench plane, from the test board lying on it, or from the marks after a knock",
    ),
    "calibrate spindle": (
        "drillaid.commands.calibrate.spindle",
        "where the spindle axis meets the bench, from holes drilled in scrap",
    ),
    "calibrate table": (
        "drillaid.commands.calibrate.table",
        "how a stepper table moves: matrix, backlash, repeatability, seen by the camera",
    ),
    "table drill": (
        "drillaid.commands.table.drill",
        "drills by itself: a stepper table on a port, watched by the camera",
    ),
    "table gcode": (
        "drillaid.commands.table.gcode",
        "writes an RS-274 file that drills this board as it lies in a photograph",
    ),
    "table probe": (
        "drillaid.commands.table.probe",
        "shows what a table's controller says, to write a dialect for it",
    ),
    "records": (
        "drillaid.commands.records",
        "lists, shows, compares and exports what was done; reports and true-scale sheets",
    ),
    "records offset": (
        "drillaid.commands.offset",
        "what drilled boards say of the spindle's place, and its correction",
    ),
    "records bits": (
        "drillaid.commands.wear",
        "holes drilled by bit, and whether a bit wanders more than it did",
    ),
}


def _overview() -> str:
    width = max(len(name) for name in COMMANDS)
    rows = "\n".join(f"  {name:<{width}}  {summary}" for name, (_, summary) in COMMANDS.items())
    return (
        "usage: drillaid                    opens the window\n"
        "       drillaid COMMAND [options]\n\n"
        "Guides the drilling of etched circuit boards with a camera over the drill.\n\n"
        f"commands:\n{rows}\n\n"
        "drillaid COMMAND --help tells more, with an example. Every command takes --json.\n"
        "exit status: 0 done, 2 bad input, 3 the answer is a refusal, 4 a device failed\n"
    )


def _group(word: str) -> str:
    """What there is under one word, such as `calibrate`; empty if nothing is."""
    rows = {name: summary for name, (_, summary) in COMMANDS.items() if name.startswith(f"{word} ")}
    if not rows:
        return ""
    width = max(map(len, rows))
    listed = "\n".join(f"  {name:<{width}}  {summary}" for name, summary in rows.items())
    return (
        f"usage: drillaid {word} WHAT [options]\n\n{listed}\n\n"
        f"drillaid {word} WHAT --help tells more, with an example.\n"
    )


def _unknown(argv: list[str]) -> int:
    """No such command: a group's word alone asks what there is, anything else is a mistake."""
    group = _group(argv[0])
    if group and (len(argv) == 1 or argv[1] in ("-h", "--help")):
        print(group, end="")
        return 0
    words = " ".join(argv[:2]) if group else argv[0]
    told = f"\n\n{group}" if group else "; see drillaid --help.\n"
    start = "drillaid: there is no command"
    print(f"{start} '{printable(words)}'{told}", end="", file=sys.stderr)
    return 2


def _pick(argv: list[str]) -> tuple[str, list[str]] | None:
    for words in (2, 1):
        name = " ".join(argv[:words])
        if len(argv) >= words and name in COMMANDS:
            return name, argv[words:]
    return None


def _parser(name: str, module) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog=f"drillaid {name}",
        description=module.SUMMARY,
        epilog=f"example:\n  {module.EXAMPLE}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    module.add_arguments(parser)
    parser.add_argument("--json", action="store_true", help="print one JSON object")
    return parser


def _json_text(data: dict) -> str:
    import numpy as np

    def plain(value):
        if isinstance(value, np.ndarray):
            return value.tolist()
        if isinstance(value, np.generic):
            return value.item()
        raise TypeError(f"{type(value).__name__} does not go into JSON")

    return json.dumps(data, default=plain, allow_nan=False)


def main(argv: list[str] | None = None) -> int:
    """Runs one command; returns the exit status. Never a traceback for bad input."""
    argv = list(sys.argv[1:] if argv is None else argv)
    if argv[:1] == ["--version"]:
        print(f"drillaid {__version__}")
        return 0
    if argv[:1] in (["-h"], ["--help"]):
        print(_overview(), end="")
        return 0
    if not argv:
        return _window()
    picked = _pick(argv)
    if picked is None:
        return _unknown(argv)
    name, rest = picked
    module = importlib.import_module(COMMANDS[name][0])
    try:
        args = _parser(name, module).parse_args(rest)
    except SystemExit as stop:  # argparse has already said why
        return int(stop.code or 0)
    try:
        answer = module.run(args)
        _print(answer, as_json=args.json)
    except DrillaidError as error:
        print(f"drillaid {name}: {error}", file=sys.stderr)
        return error.exit_status
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        print(f"drillaid {name}: stopped by the keyboard.", file=sys.stderr)
        return 130
    return answer.status


def _window() -> int:
    from drillaid.commands.opening import open_window

    try:
        return open_window("drillaid --help lists the commands").status
    except DrillaidError as error:
        print(f"drillaid: {error}", file=sys.stderr)
        return error.exit_status


def _print(answer, *, as_json: bool) -> None:
    print(_json_text(answer.data) if as_json else answer.text, flush=True)
