"""`drillaid guide`: tells the hand, hole by hole, where the board must go and when to drill."""

from __future__ import annotations

import argparse
import contextlib
import time
from pathlib import Path

from drillaid.commands import DONE, REFUSED, Answer, add_face_arguments, say
from drillaid.errors import CameraLost, RigError, StorageError, UsageError

SUMMARY = "live guidance, hole by hole"
EXAMPLE = "drillaid guide board.drl board-B_Cu.gbr --camera 0 --rig bench.toml"
GIVE_UP_S = 120.0  # without a camera, or without a board that is being watched by nobody
INTERRUPTED = 130  # what shells expect of a program ended by the keyboard


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("design", nargs="+", metavar="DESIGN", help="the files of one board")
    parser.add_argument(
        "--camera", required=True, metavar="SRC",
        help="a device number or path, a stream or video URL, a video file, a folder, sim",
    )  # fmt: skip
    parser.add_argument("--rig", metavar="FILE", help="the rig file (sim: one of its own)")
    parser.add_argument(
        "--scrap", metavar="PICTURE",
        help="without a rig file: this camera's picture of scrap as thick as the board, with "
        "one hole just drilled in it; shows where the spindle stands",
    )  # fmt: skip
    parser.add_argument(
        "--spindle", metavar="U,V",
        help="without a rig file: the pixel where the spindle axis meets the board's upper face, "
        "or with --scrap about where its hole is",
    )  # fmt: skip
    parser.add_argument("--headless", action="store_true", help="in the terminal, no window")
    parser.add_argument("--events", metavar="FILE", help="writes one JSON object a line")
    add_face_arguments(parser)
    parser.add_argument(
        "--bits", metavar="MM,MM,…", help="the bits at hand, in mm (default: the common sizes)"
    )
    parser.add_argument(
        "--tolerance", type=float, default=0.2, metavar="MM",
        help="how far from its place a hole may come to lie (default: 0.2)",
    )  # fmt: skip
    parser.add_argument(
        "--resume", action="store_true", help="goes on with the unfinished board of this design"
    )
    parser.add_argument(
        "--data", metavar="DIR", help="the folder of the journal (default: $DRILLAID_DATA or yours)"
    )
    parser.add_argument(
        "--seed", type=int, default=1, metavar="N", help="of the simulated bench (default: 1)"
    )
    parser.add_argument(
        "--knock", type=int, metavar="N",
        help="sim: after N holes the camera's arm is knocked, and put back once that is told",
    )  # fmt: skip


def run(args: argparse.Namespace) -> Answer:
    if args.rig is not None and _unrigged(args):
        raise UsageError(
            "a rig file says where the spindle stands", remedy="leave out --scrap and --spindle"
        )
    if args.camera != "sim" and args.rig is None and not _unrigged(args):
        raise UsageError(
            "nobody knows where the spindle stands in the picture",
            remedy="drill a hole in scrap as thick as the board, take its picture with this camera "
            "and give it as --scrap; or give a rig file as --rig",
        )
    if args.knock is not None and (args.camera != "sim" or not args.headless or args.knock < 0):
        raise UsageError(
            "--knock belongs to the simulated bench in the terminal",
            remedy="give it with --camera sim --headless, as a number of holes",
        )
    with contextlib.ExitStack() as held:
        return _guide(args, held) if args.headless else _in_the_window(args, held)


def _in_the_window(args: argparse.Namespace, held: contextlib.ExitStack) -> Answer:
    """What stands on the command line is settled before the window opens."""
    from drillaid.commands.guiding import eyes
    from drillaid.commands.holes import bit_sizes
    from drillaid.commands.opening import open_window
    from drillaid.commands.register import checked_thickness
    from drillaid.design.bits import checked_bits
    from drillaid.guidance.event_lines import EventLines

    _checked_tolerance(args.tolerance)
    checked_thickness(args.thickness)
    bits = "" if args.bits is None else _words(checked_bits(bit_sizes(args.bits)))
    mark = eyes.spindle_mark(args.scrap, args.spindle) if _unrigged(args) else None
    if isinstance(mark, str):
        return _no_spindle(mark)
    rig = None if args.rig is None else _rig(args)
    if rig is not None:
        _spindle(rig, args)
    lines = None if args.events is None else held.enter_context(EventLines(args.events))
    return open_window(
        "add --headless to guide in the terminal", paths=args.design, data=args.data,
        camera=args.camera, rig=rig, rig_path=args.rig or "", mark=mark, resume=args.resume,
        lines=lines, face=args.face, thickness_mm=args.thickness, bits=bits,
        tolerance_mm=args.tolerance, seed=args.seed,
    )  # fmt: skip


def _words(bits) -> str:
    return ",".join(f"{bit:g}" for bit in bits)


def _checked_tolerance(mm: float) -> None:
    if not 0.01 <= mm <= 5.0:
        raise UsageError(f"--tolerance is {mm:g} mm", remedy="give 0.01 to 5 mm")


def _guide(args: argparse.Namespace, held: contextlib.ExitStack) -> Answer:
    from drillaid.commands.guiding import keys, telling
    from drillaid.guidance.event_lines import EventLines
    from drillaid.guidance.keeping import Keeper
    from drillaid.guidance.live import LiveGuidance
    from drillaid.journal.journal import Journal

    design, work, settings = _job(args)
    bench = _simulated_bench(args, design) if args.camera == "sim" else None
    eye = _eye(args, design, bench)
    if isinstance(eye, Answer):
        return eye
    lines = None if args.events is None else held.enter_context(EventLines(args.events))
    journal = held.enter_context(Journal.open(args.data))
    if journal.notice:
        say(journal.notice)
    board, session = _board(args, journal, design, work, eye, settings)
    telling.cautions()
    operator, camera, clock = _camera(args, bench, eye.size_px, session, held)
    teller = telling.Teller(lines)
    finder = eye.finder(hurry=camera.live)
    live = LiveGuidance(
        camera,
        finder,
        session,
        clock=clock,
        keeper=Keeper(journal, board, say),
        listen=teller,
        stopwatch=None if clock is time.monotonic else time.perf_counter,
        check=eye.check,
        watch=eye.watch,
        budget=eye.budget,
        recheck=_recheck(args, design, work, finder, eye) if args.resume else None,
    )
    console = None if operator is not None else held.enter_context(keys.Console())
    if console is not None and console.open:
        say(keys.HELP)
    ended = _run(live, operator, console)
    return _answer(ended, live, teller, journal, board)


# -- what is to be done --------------------------------------------------------


def _job(args: argparse.Namespace):
    """(design, work, settings)."""
    from drillaid.commands.holes import bit_sizes
    from drillaid.commands.register import checked_thickness
    from drillaid.design.bits import DEFAULT_BITS_MM, assign_bits, bit_warnings, checked_bits
    from drillaid.design.read import read_design
    from drillaid.guidance.aim import Settings
    from drillaid.guidance.order import plan_order
    from drillaid.guidance.work import Work

    _checked_tolerance(args.tolerance)
    checked_thickness(args.thickness)
    bits = checked_bits(DEFAULT_BITS_MM if args.bits is None else bit_sizes(args.bits))
    design = read_design(args.design, face=args.face)
    choices = assign_bits(design, bits)
    for warning in (*design.warnings, *bit_warnings(design, choices)):
        say(f"! {warning}")
    order = plan_order(design, [choice.bit_mm for choice in choices])
    return design, Work.of(design, order), Settings(tolerance_mm=args.tolerance)


def _rig(args: argparse.Namespace):
    from drillaid.rig.file import load_rig

    return load_rig(args.rig)


def _spindle(rig, args: argparse.Namespace):
    spindle = rig.spindle_mm(args.thickness)
    if spindle is None:
        raise RigError(
            "[spindle] is missing, so nobody knows where the bit goes down",
            file=args.rig,
            remedy="run drillaid calibrate spindle",
        )
    return spindle


def _unrigged(args: argparse.Namespace) -> bool:
    return args.scrap is not None or args.spindle is not None


def _eye(args: argparse.Namespace, design, bench):
    """What tells where the board and the spindle are; an Answer where the scrap does not."""
    from drillaid.commands.guiding import eyes

    if _unrigged(args):
        mark = eyes.spindle_mark(args.scrap, args.spindle)
        if isinstance(mark, str):
            return _no_spindle(mark)
        say(eyes.WITHOUT_RIG)
        return eyes.unrigged(design, mark, args.face, args.thickness)
    rig = _rig(args) if bench is None else bench.rig
    return eyes.rigged(design, rig, _spindle(rig, args), args.face, args.thickness)


def _no_spindle(why: str) -> Answer:
    text = f"The spindle's place is not known: {why}."
    return Answer(text, {"status": "not_found", "message": text}, REFUSED)


def _board(args: argparse.Namespace, journal, design, work, eye, settings):
    """(the board's number in the journal, its session)."""
    from dataclasses import replace

    from drillaid.guidance.session import Session
    from drillaid.journal.journal import SIMULATED, design_hash
    from drillaid.journal.resume import resume, start

    spindle, error = eye.spindle_mm, eye.spindle_error_mm
    named = design
    if args.camera == "sim":  # must never be mistaken for a board of copper
        named = replace(design, name=design.name + SIMULATED)
    mine = [
        board
        for board in journal.unfinished()
        if board.design_hash == design_hash(design) and board.design_name == named.name
    ]
    if not args.resume:
        if mine:
            say(f"Board {mine[0].id} of this design is unfinished; --resume goes on with it. "
                "A new one is begun.")  # fmt: skip
        board = start(
            journal, named, work, face=args.face, thickness_mm=args.thickness,
            spindle_mm=[float(value) for value in spindle],
            tolerance_mm=args.tolerance, camera=args.camera, rig_path=args.rig or "",
            paths=[str(Path(path).resolve()) for path in args.design],
        )  # fmt: skip
        return board, Session(work, spindle, settings, spindle_error_mm=error)
    if not mine:
        raise UsageError(
            f"no unfinished board of {design.name} is recorded in {journal.path}",
            remedy="leave out --resume to begin one",
        )
    say(f"Going on with board {mine[0].id}: {mine[0].done} of {mine[0].holes} holes are done.")
    return mine[0].id, resume(
        journal, mine[0].id, spindle, settings, design=design, spindle_error_mm=error
    )


def _recheck(args: argparse.Namespace, design, work, finder, eye):
    """Holds the board that lies there against the record."""
    from drillaid.inspection.recheck import Recheck

    bits = {stop.hole: stop.bit_mm for stop in work.stops}
    return Recheck(
        design, [bits.get(hole.number, hole.drill_mm) for hole in design.holes],
        lambda: eye.seen_through(finder), face=args.face,
    )  # fmt: skip


# -- where pictures come from --------------------------------------------------


def _simulated_bench(args: argparse.Namespace, design):
    from drillaid.simulation.conditions import bench_for
    from drillaid.simulation.prints import lay_marks

    bench = bench_for(
        design,
        args.seed,
        face=args.face,
        thickness_mm=args.thickness,
        rig=None if args.rig is None else _rig(args),
    )
    lay_marks(bench, args.seed)
    return bench


def _camera(args: argparse.Namespace, bench, size_px, session, held: contextlib.ExitStack):
    """(simulated operator or None, camera, its clock or None for a recording)."""
    from drillaid.rig.reader import NewestFrame
    from drillaid.rig.sources import open_camera, register_source

    if bench is not None:
        from drillaid.commands.guiding.simulated import simulated_work

        operator, factory = simulated_work(bench, session, args.seed, args.knock)
        register_source("sim", factory)
        camera = held.enter_context(open_camera("sim", size=(bench.rig.width, bench.rig.height)))
        say("The bench, the board and the operator are simulated.")
        return operator, camera, lambda: camera.time_s
    size = {} if size_px is None else {"size": size_px}
    camera = held.enter_context(open_camera(args.camera, **size))
    if not camera.live:
        return None, camera, None
    return None, held.enter_context(NewestFrame(camera)), time.monotonic


# -- the loop ------------------------------------------------------------------


def _run(live, operator, console) -> str:
    """Until "finished", "ended" (the recording), "quit", "given_up", "differs" (record and
    board, and nobody is there to decide) or "interrupted"."""
    from drillaid.commands.guiding import keys
    from drillaid.guidance.guidance import FINISHED

    silent_since, asked = time.monotonic(), False
    try:
        while True:
            guidance = live.step()
            if guidance is None:
                return "ended"
            if operator is not None:
                guidance = operator.follow(live, guidance)
                if operator.given_up is not None:
                    return "given_up"
                if live.unwritten is not None:  # a person may make room; this one drills on
                    raise StorageError(live.unwritten)
            if guidance.state == FINISHED and guidance.differs is None:
                return "finished"
            if guidance.differs is not None and (console is None or not console.open):
                return "differs"  # nobody is there to decide
            if guidance.differs is not None and not asked:
                asked = True
                console.lines()  # what was typed before the question is no answer to it
                say(keys.DECIDE)
            if console is not None and not _obey(console, live):
                return "quit"
            if live.trouble is None:
                silent_since = time.monotonic()
            elif time.monotonic() - silent_since > GIVE_UP_S:
                raise CameraLost(f"{live.trouble.rstrip('.')}; given up. {_RESUME}")
    except KeyboardInterrupt:
        return "interrupted"


def _obey(console, live) -> bool:
    """False to stop."""
    for action in console.actions(live.guidance):
        if action is None:
            return False
        live.act(action)
    return True


# -- the answer ----------------------------------------------------------------

_RESUME = "What was done is recorded; the same command with --resume goes on."


def _answer(ended: str, live, teller, journal, board: int) -> Answer:
    record = journal.board(board)
    left = record.holes - record.done - record.skipped
    data = {
        "status": ended,
        "message": "",
        "board": board,
        "journal": str(journal.path),
        "holes": record.holes,
        "done": record.done,
        "skipped": record.skipped,
        "frames": live.frames,
        "frames_registered": teller.registered,
        "latency_ms": teller.latency_ms(),
    }
    done = f"{record.done} of {record.holes} holes done"
    if record.skipped:
        done += f", {record.skipped} skipped"
    status = DONE
    if ended == "finished":
        text = f"{done}. Board {board} in {journal.path}."
    elif ended == "differs":
        text = f"{live.guidance.message} Nothing was changed; with a keyboard you can decide."
        status = REFUSED
    elif ended == "given_up":
        text = f"{done}; the simulated operator gave up: {live.guidance.message} {_RESUME}"
        status = REFUSED
    else:
        words = {"ended": "The recording has ended", "quit": "Stopped", "interrupted": "Stopped"}
        text = f"{words[ended]}: {done}, {left} left. {_RESUME}"
        if ended == "interrupted":
            status = INTERRUPTED
        elif ended == "ended" and teller.registered == 0 and live.registration is not None:
            text = f"{words[ended]} and the board was in none of {live.frames} pictures: " + (
                live.registration.message
            )
            status = REFUSED
    if teller.failure is not None:
        text += f" {teller.failure}"
        status = StorageError.exit_status
    return Answer(text, data | {"message": text}, status)
