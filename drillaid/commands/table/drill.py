"""`drillaid table drill`: finds the board and drills it by the table, watched by the camera."""

from __future__ import annotations

import argparse
import contextlib

from drillaid.commands import DONE, Answer, add_face_arguments, say
from drillaid.commands.table.probe import add_port_arguments
from drillaid.errors import UsageError

SUMMARY = "drills by itself: a stepper table on a port, watched by the camera"
EXAMPLE = (
    "drillaid table drill board.drl board-B_Cu.gbr --rig bench.toml --camera 0 "
    "--port /dev/ttyUSB0 --dry-run"
)
_SETUP = """\
the rig file's [table] needs limits_mm, and for a table whose Z obeys the controller
safe_z_mm and surface_z_mm; matrix and backlash_mm come from drillaid calibrate table:
  [table]
  arrangement = "board"      # it moves; or "spindle", with the camera on it
  dialect = "line-ack"       # or a file of your own; drillaid table probe --dialects
  matrix = [[1.0, 0.0], [0.0, 1.0]]
  backlash_mm = [0.15, 0.15]
  limits_mm = [[0.0, 100.0], [0.0, 80.0], [-30.0, 0.0]]
  safe_z_mm = -12.0
  surface_z_mm = -20.0       # the tip of the bit on the board's upper face
  spindle_rpm = 20000.0      # 0: it has a switch of its own
"""
INTERRUPTED = 130


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.epilog = f"{parser.epilog}\n\n{_SETUP}"
    parser.add_argument("design", nargs="+", metavar="DESIGN", help="the files of one board")
    parser.add_argument("--rig", metavar="FILE", help="the rig file (sim: one of its own)")
    parser.add_argument("--camera", required=True, metavar="SRC", help="as for guide, or sim")
    add_port_arguments(parser, required=True)
    parser.add_argument("--dialect", metavar="NAME|FILE", help="instead of the rig file's")
    parser.add_argument("--bits", metavar="MM,MM,…", help="the bits at hand, in mm")
    parser.add_argument(
        "--tolerance",
        type=float,
        default=0.03,
        metavar="MM",
        help="seen distance at which a hole is drilled (default: 0.03)",
    )
    parser.add_argument(
        "--dry-run",
        action="store_true",
        help="goes to each hole above the board; nothing turns or goes down",
    )
    parser.add_argument(
        "--lever",
        action="store_true",
        help="a person pulls the lever when told; Z is not commanded",
    )
    parser.add_argument("--look-again", action="store_true", help="measures each drilled hole")
    parser.add_argument(
        "--cautions-read",
        action="store_true",
        help="the cautions have been read: the first confirmation is given. "
        "An emergency stop wired to the power is required all the same",
    )
    add_face_arguments(parser)
    parser.add_argument("--events", metavar="FILE", help="writes one JSON object a line")
    parser.add_argument(
        "--resume", action="store_true", help="goes on with the unfinished board of this design"
    )
    parser.add_argument("--data", metavar="DIR", help="the folder of the journal")
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="of the simulated bench (default: 1)"
    )


def run(args: argparse.Namespace) -> Answer:
    from drillaid.commands.table.working import both_or_none_simulated

    both_or_none_simulated(args)
    if args.rig is None and args.camera != "sim":
        raise UsageError("a table needs a rig file", remedy="run drillaid calibrate first")
    with contextlib.ExitStack() as held:
        return _drill(args, held)


def _drill(args: argparse.Namespace, held: contextlib.ExitStack) -> Answer:
    from drillaid.commands.holes import bit_sizes
    from drillaid.commands.register import checked_thickness
    from drillaid.commands.table.working import Console, Teller, make_job
    from drillaid.design.bits import DEFAULT_BITS_MM
    from drillaid.guidance.job import prepare
    from drillaid.journal.journal import Journal
    from drillaid.table.dialect_file import load_dialect
    from drillaid.table.job import JobSettings

    checked_thickness(args.thickness)
    try:
        settings = JobSettings(
            tolerance_mm=args.tolerance, dry_run=args.dry_run, look_again=args.look_again,
            thickness_mm=args.thickness,
        )  # fmt: skip
    except ValueError as error:
        raise UsageError(f"--tolerance: {error}", remedy="give 0.005 to 1 mm") from None
    if args.dialect is not None:
        load_dialect(args.dialect)  # refused before anything is opened
    bits = DEFAULT_BITS_MM if args.bits is None else bit_sizes(args.bits)
    ready = prepare(args.design, face=args.face, thickness_mm=args.thickness, bits_mm=bits,
                    tolerance_mm=0.2)  # fmt: skip
    for warning in ready.warnings:
        say(f"! {warning}")
    journal = held.enter_context(Journal.open(args.data))
    if journal.notice:
        say(journal.notice)
    teller = Teller(args.events, held)
    made = make_job(args, ready, settings, journal, teller, held)
    console = None if made.simulated else held.enter_context(Console())
    with made.job as job:
        interrupted = _work(job, made, console, args.cautions_read)
    return _answer(made, interrupted, teller)


def _work(job, made, console, cautions_read: bool) -> bool:
    """Until the end; True if the keyboard ended it."""
    from drillaid.guidance.events import Confirm
    from drillaid.table import job as j

    first = True
    try:
        while job.outcome is None:
            view = job.step()
            if view.state == j.CAUTIONS and first and cautions_read:
                first = False
                job.act(Confirm())
            elif made.simulated:
                made.person(view)
            elif console is not None:
                for action in console.actions(view):
                    job.act(action)
                if not console.open and view.state in j.ASKS:
                    say("Nobody can confirm: the input has ended.")
                    job.act(j.Stop())
    except KeyboardInterrupt:
        job.act(j.Stop())
        return True
    return False


def _answer(made, interrupted: bool, teller) -> Answer:
    outcome, tally = made.job.outcome, made.job.view.progress
    data = {
        "status": outcome.reason,
        "message": outcome.message,
        "board": made.board,
        "holes": None if tally is None else tally.holes,
        "done": None if tally is None else tally.done,
        "skipped": None if tally is None else tally.skipped,
        "safe": {"held": outcome.safe.held, "spindle_off": outcome.safe.spindle_off,
                 "z_up": outcome.safe.z_up},
        "looks": teller.looks,
        "worst_seen_mm": teller.worst_mm,
    }  # fmt: skip
    status = DONE if outcome.error is None else outcome.error.exit_status
    return Answer(outcome.message, data, INTERRUPTED if interrupted else status)
