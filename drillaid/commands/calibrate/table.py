"""`drillaid calibrate table`: how a stepper table moves, measured by the camera."""

from __future__ import annotations

import argparse
import contextlib
import math
import re
import sys
from pathlib import Path

from drillaid.commands import REFUSED, Answer, add_face_arguments, say
from drillaid.commands.calibrate.arguments import add_pattern_arguments, pattern_from
from drillaid.commands.table.probe import add_port_arguments
from drillaid.errors import RigError, UsageError

SUMMARY = "how a stepper table moves: matrix, backlash, repeatability, seen by the camera"
EXAMPLE = "drillaid calibrate table board.drl --rig bench.toml --camera 0 --port /dev/ttyUSB0"
_SETUP = """\
Clamp a board that register finds, or the printed test board (then without DESIGN), on the
part that moves; take the bit out of the chuck. The rig file's [table] must say first:
  [table]
  limits_mm = [[0.0, 100.0], [0.0, 80.0], [-30.0, 0.0]]   # soft limits
  safe_z_mm = -12.0                                       # or: z = "lever"
  surface_z_mm = -20.0       # the tip of the bit on the board's upper face
and, where it differs, arrangement and dialect, as drillaid table drill --help shows.
"""
_QUESTION = "Enter: all of that is so, begin. Anything else: stop. "


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser._negative_number_matcher = re.compile(r"^-[\d.].*$")  # `--area -5,…` is an area
    parser.epilog = f"{parser.epilog}\n\n{_SETUP}"
    parser.add_argument(
        "design", nargs="*", metavar="DESIGN",
        help="the files of the board that is followed (default: the printed test board)",
    )  # fmt: skip
    parser.add_argument(
        "--rig", required=True, metavar="FILE", help="the rig file; sim: may be new"
    )
    parser.add_argument("--camera", required=True, metavar="SRC", help="as for guide, or sim")
    add_port_arguments(parser, required=True)
    parser.add_argument("--dialect", metavar="NAME|FILE", help="instead of the rig file's")
    parser.add_argument(
        "--area", metavar="X0,Y0,X1,Y1",
        help="table mm that nothing leaves but the way from home and small steps there "
        "(default: as large as the view allows, up to 40 mm each way)",
    )  # fmt: skip
    parser.add_argument(
        "--targets", type=int, default=5, metavar="N", help="on each axis (default: 5)"
    )
    parser.add_argument("--runs", type=int, default=5, metavar="N", help="each way (default: 5)")
    add_face_arguments(parser)
    add_pattern_arguments(parser)
    parser.add_argument(
        "--sheet-mm", type=float, default=0.0, metavar="MM",
        help="height of the printed test board's face over the bench (default: 0)",
    )  # fmt: skip
    parser.add_argument(
        "--cautions-read", action="store_true",
        help="the cautions have been read and confirmed. An emergency stop wired to the power "
        "is required all the same",
    )  # fmt: skip
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="of the simulated bench (default: 1)"
    )


def run(args: argparse.Namespace) -> Answer:
    from calibration.table_tour import Plan
    from drillaid.commands.table.working import both_or_none_simulated

    both_or_none_simulated(args)
    if not (math.isfinite(args.sheet_mm) and 0 <= args.sheet_mm <= 100):
        raise UsageError(f"--sheet-mm is {args.sheet_mm:g} mm", remedy="give 0 to 100 mm")
    try:
        plan = Plan(args.targets, args.runs, None if args.area is None else _area(args.area))
    except ValueError as error:
        raise UsageError(
            f"--targets {args.targets} and --runs {args.runs} are not possible",
            remedy=f"give {error}",
        ) from None
    with contextlib.ExitStack() as held:
        return _measured(args, plan, held)


def _area(text: str) -> tuple[float, ...]:
    try:
        area = tuple(float(word) for word in text.split(","))
    except ValueError:
        area = ()
    if (
        len(area) != 4
        or not all(map(math.isfinite, area))
        or area[0] >= area[2]
        or area[1] >= area[3]
    ):
        raise UsageError(
            f"--area {text} is no area", remedy="write --area 20,15,60,55, least first"
        )
    return area


def _measured(args: argparse.Namespace, plan, held: contextlib.ExitStack) -> Answer:
    from calibration.rig_draft import read_draft
    from calibration.table_job import measure, stored
    from calibration.table_tour_of import tour_of
    from drillaid.commands.table.working import open_eye
    from drillaid.rig.file import save_rig
    from drillaid.table.controller import Controller
    from drillaid.table.dialect_file import load_dialect
    from drillaid.table.link import Link
    from drillaid.table.machine import Machine
    from drillaid.table.setup import TableSetup

    draft = read_draft(args.rig)
    sim = _simulation(args, draft) if args.port == "sim" else None
    rig = sim.rig if sim is not None else draft.rig()
    table = rig.extra.get("table")
    if not isinstance(table, dict):
        raise RigError("[table] is missing: nobody knows how far the table may go", file=args.rig,
                       remedy="write it as drillaid calibrate table --help shows")  # fmt: skip
    setup = TableSetup.of(rig, args.rig, calibrated=False)
    dialect = load_dialect(args.dialect or setup.dialect)
    if not _confirmed(args, sim is not None):
        text = "Nothing was moved: the cautions were not confirmed."
        return Answer(text, {"status": "not_confirmed", "message": text}, REFUSED)
    camera, clock = open_eye(args, rig, sim, held)
    followed = _followed(args, rig, sim, camera.live)
    link = held.enter_context(Link.open(args.port, baud=args.baud))
    machine = Machine(Controller(link, dialect, setup), clock)
    job = measure(machine, tour_of(machine, camera, clock, rig, followed, plan, say))
    if args.dialect is not None:
        table = table | {"dialect": args.dialect}
    if not draft.data.get("camera"):  # a simulated rig that was never saved
        save_rig(rig, args.rig)
        draft = read_draft(args.rig)
    stored(draft, job, table).save()
    text = f"{job.text()}\nWritten to {args.rig}, [table]. {job.safe.message}"
    message = f"The table's axes were measured and written to {Path(args.rig).name}."
    return Answer(text, {**job.to_json(), "message": message, "file": args.rig})


def _confirmed(args: argparse.Namespace, simulated: bool) -> bool:
    """The cautions, shown before anything moves, and the person's word."""
    from calibration.table_tour_of import BEFORE
    from drillaid.table.job import table_cautions

    for caution in table_cautions():
        say(str(caution))
    say(BEFORE)
    if args.cautions_read or simulated:
        return True
    print(_QUESTION, end="", file=sys.stderr, flush=True)
    return sys.stdin.readline() in ("\n", "\r\n")  # the end of the input is no word


def _design(args: argparse.Namespace):
    from drillaid.design.read import read_design

    return read_design(args.design, face=args.face)


def _simulation(args: argparse.Namespace, draft):
    from drillaid.commands.table.working import simulated_table
    from drillaid.simulation.designs import demo_design

    rig = draft.rig() if draft.data.get("camera") else None
    return simulated_table(args, _design(args) if args.design else demo_design(), rig)


def _followed(args: argparse.Namespace, rig, sim, live: bool):
    """The printed test board, or the board of the design."""
    from calibration.table_tour_of import follow_board, follow_sheet
    from drillaid.commands.register import checked_thickness

    if sim is None and not args.design:
        return follow_sheet(rig, pattern_from(args), args.sheet_mm)
    thickness = checked_thickness(args.thickness)
    design = sim.bench.board.design if sim is not None else _design(args)
    return follow_board(design, rig, face=args.face, thickness_mm=thickness, live=live)
