"""`drillaid demo`: the whole job on an invented board and a simulated bench."""

from __future__ import annotations

import argparse
import textwrap
import time

from drillaid.commands import Answer, say
from drillaid.errors import UsageError

SUMMARY = "the whole job on the simulated bench"
EXAMPLE = "drillaid demo --out drillaid-demo"
WIDTH = 88


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--out", metavar="DIR", default="drillaid-demo",
        help="where everything is written (default: drillaid-demo, here)",
    )  # fmt: skip
    parser.add_argument(
        "--seed", type=int, default=7, metavar="N",
        help="the same number gives the same demo (default: 7)",
    )  # fmt: skip
    what = parser.add_mutually_exclusive_group()
    what.add_argument(
        "--window", action="store_true",
        help="drill the invented board yourself, in the window on the simulated bench",
    )  # fmt: skip
    what.add_argument(
        "--table", action="store_true",
        help="a simulated stepper table drills a small board, watched by the camera",
    )  # fmt: skip


def run(args: argparse.Namespace) -> Answer:
    if not 0 <= args.seed < 2**32:
        raise UsageError(f"--seed is {args.seed}", remedy=f"give 0 to {2**32 - 1}")
    if args.window:
        return _in_the_window(args)
    if args.table:
        return _by_table(args)
    from drillaid.demonstration.folder import DemoFolder
    from drillaid.demonstration.story import Story

    begun = time.perf_counter()
    told = Story(DemoFolder(args.out), args.seed, _tell).run()
    seconds = time.perf_counter() - begun
    return Answer(_text(told, seconds), _data(told, args.seed, seconds))


def _in_the_window(args: argparse.Namespace) -> Answer:
    from drillaid.commands.opening import open_window
    from drillaid.demonstration import scenario as invented
    from drillaid.demonstration.folder import DemoFolder
    from drillaid.demonstration.story import write_design
    from drillaid.simulation.designs import demo_design

    folder = DemoFolder(args.out)
    files = write_design(folder, demo_design())
    for end in ("", "-wal", "-shm"):
        folder.file(f"journal.sqlite3{end}")
    say(invented.TELLING)

    def practice(job, seed: int):
        """Each further board of the demo is another one."""
        return invented.scenario(args.seed + seed - 1).bench

    return open_window(
        "leave out --window", paths=[str(path) for path in files], data=str(folder.path),
        camera="sim", practice=practice, face=invented.FACE,
        thickness_mm=invented.THICKNESS_MM, bits="", seed=1,
    )  # fmt: skip


def _by_table(args: argparse.Namespace) -> Answer:
    from drillaid.demonstration.folder import DemoFolder
    from drillaid.demonstration.table_story import TableStory

    begun = time.perf_counter()
    told = TableStory(DemoFolder(args.out), args.seed, _tell).run()
    seconds = time.perf_counter() - begun
    figures, run, safe = _table_figures(told), told.run, told.run.outcome.safe
    data = {
        "seed": args.seed,
        "invented": True,
        "folder": str(told.folder),
        "report": str(told.report),
        "figures": figures,
        "holes": len(told.design.holes),
        "drilled": len(run.holes),
        "looks": run.looks,
        "corrections": sum(hole.corrections for hole in run.holes),
        "parts": told.inspection.summary.parts,
        "parts_fitting": told.inspection.summary.parts_fitting,
        "safe": {"held": safe.held, "spindle_off": safe.spindle_off, "z_up": safe.z_up},
        "comparison": told.comparison.to_json(),
        "seconds": {"total": seconds, "simulated": 60 * told.minutes},
    }
    return Answer(_closing(figures, told.report, seconds, "simulated table"), data)


def _table_figures(told) -> list[str]:
    c, s, run = told.comparison, told.inspection.summary, told.run
    corrections = sum(hole.corrections for hole in run.holes)
    return [
        f"aim: {c.holes} holes, the spindle's axis truly {c.true_rms_mm:.3f} mm rms beside the "
        f"hole's place as the bit went down (it expected {c.said_rms_mm:.3f} mm), "
        f"{c.true_worst_mm:.3f} mm at most; as seen {c.seen_worst_mm:.3f} mm at most",
        f"table: {run.looks} looks and {corrections} corrections in {told.minutes:.1f} minutes of "
        f"the simulated clock; the bit down while the table moved, or not turning: "
        f"{c.drilled_moving} times",
        f"inspection: {s.parts_fitting} of {s.parts} parts go in",
    ]


def _tell(text: str) -> None:
    """Filled to a page's width, the indentation kept."""
    for line in text.split("\n"):
        indent = " " * (len(line) - len(line.lstrip()))
        say("\n".join(textwrap.wrap(line, WIDTH, subsequent_indent=indent)))


def _figures(told) -> list[str]:
    """The three that matter."""
    c, s = told.comparison, told.inspection.summary
    found, drawn = (f"{100 * x:.2f} x {100 * y:.2f} %" for x, y in (c.scale_found, c.scale_drawn))
    parts = f"{s.parts_fitting} of {s.parts} parts go in"
    if c.slip_seen_mm is not None:
        parts += (
            f"; the hole that went astray ({c.slip_hole}) was found {c.slip_seen_mm:.2f} mm off "
            f"(truly {c.slip_true_mm:.2f} mm)"
        )
    return [
        f"print: found {found} of its size, drawn {drawn}",
        f"guidance: {len(told.drilled.holes)} holes, their places known to "
        f"{c.guided_rms_mm:.3f} mm rms at the moment of drilling (it expected "
        f"{c.guided_said_mm:.3f} mm)",
        f"inspection: {parts}",
    ]


def _text(told, seconds: float) -> str:
    return _closing(_figures(told), told.report, seconds, "simulated bench")


def _closing(figures: list[str], report, seconds: float, where: str) -> str:
    lines = ["", f"Against what was drawn (invented board, {where}):"]
    for figure in figures:
        lines.append(textwrap.fill(figure, WIDTH, initial_indent="  - ", subsequent_indent="    "))
    lines += ["", f"Done in {seconds:.0f} s. The report: {report}"]
    return "\n".join(lines)


def _data(told, seed: int, seconds: float) -> dict:
    s = told.inspection.summary
    return {
        "seed": seed,
        "invented": True,
        "folder": str(told.folder),
        "report": str(told.report),
        "figures": _figures(told),
        "holes": len(told.design.holes),
        "drilled": len(told.drilled.holes),
        "skipped": list(told.drilled.skipped),
        "frames": told.drilled.frames,
        "frames_lost": told.drilled.lost,
        "refusals": [r.status for r in told.refusals],
        "parts": s.parts,
        "parts_fitting": s.parts_fitting,
        "comparison": told.comparison.to_json(),
        "seconds": {**told.seconds, "total": seconds},
    }
