"""`drillaid table gcode`: an RS-274 file for this board as it lies, for a machine of your own."""

from __future__ import annotations

import argparse
import datetime
import math
import re
from dataclasses import replace
from pathlib import Path

from drillaid.commands import REFUSED, Answer, add_face_arguments, say
from drillaid.errors import RigError, UsageError

SUMMARY = "writes an RS-274 file that drills this board as it lies in a photograph"
EXAMPLE = "drillaid table gcode board.drl board-B_Cu.gbr photo.jpg --rig bench.toml --out board.ngc"
_EPILOG = """\
Take the photograph with the board clamped as it will be drilled, the table homed and
standing at its view_mm (or say with --table-at where it stood), come to from smaller X
and Y. The file is written without a look at the holes on the way: calibrate the table
first, and dry-run the file above the board before anything turns.
"""
ORIGIN_WORDS = ("table", "photo", "bench")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser._negative_number_matcher = re.compile(r"^-[\d.].*$")  # `--table-at -5,3` is a place
    parser.epilog = f"{parser.epilog}\n\n{_EPILOG}"
    parser.add_argument("design", nargs="+", metavar="DESIGN", help="the files of one board")
    parser.add_argument("photo", metavar="PHOTO", help="the photograph, the last file named")
    parser.add_argument("--rig", required=True, metavar="FILE", help="the rig file")
    add_face_arguments(parser)
    parser.add_argument(
        "--out", metavar="FILE", help="the file to write (default: to standard output)"
    )
    parser.add_argument(
        "--dialect", metavar="NAME|FILE", help="the controller's (default: the rig file's)"
    )
    parser.add_argument("--bits", metavar="MM,MM,…", help="the bits at hand, in mm")
    parser.add_argument(
        "--origin", choices=ORIGIN_WORDS, default="table",
        help="what X0 Y0 is: the table's own; where it stood for the photograph; or bench: the "
        "bench frame's, for a spindle that moves along its axes, without [table] "
        "(default: table)",
    )  # fmt: skip
    parser.add_argument(
        "--table-at", metavar="X,Y",
        help="where the table stood for the photograph (default: the rig file's view_mm)",
    )  # fmt: skip
    heights = (
        ("--safe-z", "where the bit is above clamps and all that sticks up"),
        ("--surface-z", "where the bit's tip meets the board's upper face"),
        ("--drill-z", "where the tip turns back (default: through the board, by the bit)"),
    )
    for name, text in heights:
        parser.add_argument(name, type=_finite, metavar="MM", help=text)
    parser.add_argument("--feed", type=_finite, metavar="MM/MIN", help="(default: by the bit)")
    parser.add_argument(
        "--peck", type=_finite, metavar="MM", help="0: in one go (default: two diameters)"
    )
    parser.add_argument(
        "--speed", type=_finite, metavar="RPM", help="0: the spindle has a switch of its own"
    )
    parser.add_argument(
        "--spell-out", action="store_true", help="G0 and G1 only, no drilling cycles"
    )
    parser.add_argument(
        "--dry-run", action="store_true", help="goes to each place at the safe height only"
    )
    parser.add_argument(
        "--vouch-mm", type=_finite, default=0.2, metavar="MM",
        help="refuses where twice the expected error of a hole is above this (default: 0.2)",
    )  # fmt: skip


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError
    return value


def run(args: argparse.Namespace) -> Answer:
    from drillaid.commands.register import checked_thickness, registration_json
    from drillaid.design.bits import DEFAULT_BITS_MM, assign_bits, bit_warnings
    from drillaid.design.read import read_design
    from drillaid.registration.register import register_picture
    from drillaid.registration.words import missing_words
    from drillaid.rig.file import load_rig
    from drillaid.rig.pictures import check_size, read_picture

    thickness = checked_thickness(args.thickness)
    rig = load_rig(args.rig)
    setup, cut, dialect = _machine(args, rig, thickness)
    design = read_design(args.design, face=args.face)
    picture = read_picture(args.photo)
    check_size(rig, picture)
    choices = assign_bits(design, DEFAULT_BITS_MM if args.bits is None else _bits(args.bits))
    warnings = [*design.warnings, *bit_warnings(design, choices)]
    registration = register_picture(
        picture, design, rig=rig, face=args.face, thickness_mm=thickness
    )
    if not registration.ok:
        place = registration_json(registration, design, rig)
        data = {"status": registration.status, "message": registration.message,
                "registration": place}  # fmt: skip
        return Answer(registration.message, data, REFUSED)
    bare = missing_words(registration.placement.holes_without_land)
    warnings += [bare] if bare else []
    work, places = _places(args, design, choices, registration.placement, rig, setup, thickness)
    return _written(args, work, places, cut, dialect, setup, registration, design, warnings)


def _bits(text: str):
    from drillaid.commands.holes import bit_sizes

    return bit_sizes(text)


def _machine(args: argparse.Namespace, rig, thickness: float):
    """(TableSetup or None, Cut, Dialect), with what the options say otherwise."""
    from drillaid.rig.table_limits import check_table
    from drillaid.table.dialect_file import DEFAULT, load_dialect
    from drillaid.table.gcode import Cut
    from drillaid.table.setup import TableSetup

    options = {"safe_z_mm": args.safe_z, "surface_z_mm": args.surface_z}
    given = {name: value for name, value in options.items() if value is not None}
    changes = {
        "drill_z_mm": args.drill_z, "feed_mm_min": args.feed, "peck_mm": args.peck,
        "spindle_rpm": args.speed,
    }  # fmt: skip
    changes = {name: value for name, value in changes.items() if value is not None}
    how = {"spell_out": args.spell_out, "dry_run": args.dry_run}
    table = rig.extra.get("table")
    if args.origin == "bench" and (not isinstance(table, dict) or len(given) == 2):
        if len(given) < 2:
            raise UsageError(
                "nobody knows how high the board lies",
                remedy="give --safe-z and --surface-z, Z of your machine in mm",
            )
        return (
            None,
            Cut(**given, thickness_mm=thickness, **changes, **how),
            load_dialect(args.dialect or DEFAULT),
        )
    if not isinstance(table, dict):
        raise RigError(
            "[table] is missing, so nobody knows how the table moves", file=args.rig,
            remedy="run drillaid calibrate table, or for a spindle that moves along the bench's "
            "axes give --origin bench",
        )  # fmt: skip
    if table.get("z") == "lever" and len(given) < 2:
        raise RigError(
            'table.z is "lever": a file cannot pull it', file=args.rig,
            remedy="use drillaid table drill, or give --safe-z and --surface-z for a machine "
            "that can",
        )  # fmt: skip
    table = table | given | ({"z": "controller"} if len(given) == 2 else {})
    check_table(table)
    setup = TableSetup.of(replace(rig, extra={**rig.extra, "table": table}), args.rig)
    dialect = load_dialect(args.dialect or setup.dialect)
    return setup, Cut.of(setup, thickness, **changes, **how), dialect


def _places(args, design, choices, placement, rig, setup, thickness: float):
    """(Work, Places): planned for this table, or by the shortest way without one."""
    from drillaid.guidance.order import plan_order
    from drillaid.guidance.work import Work
    from drillaid.table.gcode_places import on_bench, on_table, to_table, vouch
    from drillaid.table.timing import plan_for_table

    bits = [choice.bit_mm for choice in choices]
    if args.origin == "bench":
        work = Work.of(design, plan_order(design, bits))
        places = on_bench(work, placement, rig, thickness)
    else:
        stood = setup.view_mm if args.table_at is None else _table_at(args.table_at)
        to_bit = to_table(placement, rig, setup, thickness, stood, rig_file=args.rig)
        work = Work.of(design, plan_for_table(design, bits, to_bit, setup.pace, tuple(stood)))
        places = on_table(
            work, placement, rig, setup, thickness,
            stood_mm=stood, origin=args.origin,
        )  # fmt: skip
    vouch(work, places, args.vouch_mm)
    return work, places


def _table_at(text: str):
    import numpy as np

    try:
        place = np.array([float(word) for word in text.split(",")])
    except ValueError:
        place = np.zeros(0)
    if place.shape != (2,) or not np.isfinite(place).all():
        raise UsageError(f"'{text}' is no place", remedy="write --table-at 50,40, table mm")
    return place


def _written(
    args, work, places, cut, dialect, setup, registration, design, warnings
) -> Answer:  # fmt: skip
    from drillaid.files import write_whole
    from drillaid.table.gcode import check_depths, write_program
    from drillaid.table.gcode_places import worst_mm

    if setup is not None:
        check_depths(cut, setup, work.bits_mm)
    text = write_program(
        work, places, cut, dialect, _header(args, work, places, cut, registration, design)
    )
    for warning in warnings:
        say(f"! {warning}")
    passes = [cut.pass_of(bit) for bit in work.bits_mm]
    data = {
        "status": "written",
        "message": _message(args, work, places),
        "file": args.out,
        "origin": places.origin,
        "dialect": dialect.name,
        "holes": _holes(work, places),
        "bits": [
            {"bit_mm": p.bit_mm, "drill_z_mm": round(p.drill_z_mm, 4),
             "feed_mm_min": round(p.feed_mm_min, 1), "pecks": p.pecks,
             "places": sum(stop.bit_mm == p.bit_mm for stop in work.stops)}
            for p in passes
        ],
        "expected_error_mm": worst_mm(places),
        "lines": text.count(dialect.ending),
        "warnings": warnings,
    }  # fmt: skip
    if args.out is None:
        say(data["message"])
        return Answer(text.rstrip(), {**data, "gcode": text})
    write_whole(args.out, text)
    return Answer(data["message"], data)


def _holes(work, places) -> list[dict]:
    rows = zip(work.stops, places.xy_mm.tolist(), places.expected_error_mm, strict=True)
    return [
        {"hole": stop.hole, "part": stop.part, "bit_mm": stop.bit_mm,
         "xy_mm": [round(v, 6) for v in xy], "expected_error_mm": float(error)}
        for stop, xy, error in rows
    ]  # fmt: skip


def _message(args, work, places) -> str:
    from drillaid.table.gcode_places import worst_mm

    where = "standard output" if args.out is None else args.out
    bits = ", ".join(f"{bit:g}" for bit in work.bits_mm)
    return (
        f"{where}: {len(work.by_hole)} holes with bits of {bits} mm; expected error up to "
        f"{worst_mm(places):.3f} mm. Read its head, then run it dry above the board first."
    )


def _first(caution) -> bool:
    """The machine's manual and the person in charge come first."""
    return caution.severity != "NOTICE"


def _header(args, work, places, cut, registration, design) -> list[str]:
    """What it was made from, what is expected, and the cautions, sentence by sentence."""
    from drillaid import __version__
    from drillaid.registration.words import missing_words
    from drillaid.table.gcode_places import ORIGINS, worst_mm
    from drillaid.table.job import table_cautions

    made = datetime.datetime.now().astimezone().strftime("%Y-%m-%d %H:%M %z")
    m = registration.placement.matrix
    lines = [
        f"Drilling of {design.name}, written by drillaid {__version__} on {made}.",
        "READ THIS BEFORE YOU RUN IT.",
        *(str(caution) for caution in sorted(table_cautions(), key=_first)),
        "Run it dry first: spindle switched off at its own switch, no bit in the chuck, a hand "
        "on the emergency stop, and watch every place.",
        f"Design: {', '.join(Path(name).name for name in args.design)}, face {args.face}.",
        f"Photograph: {Path(args.photo).name}. Rig: {Path(args.rig).name}. If board, clamp, camera "
        "or zero were moved since that photograph, this file is void.",
        f"Board: {registration.pads_agreeing} of {registration.holes_total} holes agree; turned "
        f"{math.degrees(m.rotation_rad):.3f} deg, offset {m.offset[0]:.3f} {m.offset[1]:.3f} mm on "
        f"the bench; thickness {cut.thickness_mm:g} mm.",
        f"Expected error of a place: up to {worst_mm(places):.3f} mm, one sigma, not corrected "
        "on the way.",
        f"X0 Y0: {ORIGINS[places.origin]}. Work offset G54 must be set so; mm, absolute.",
        f"Z: safe {cut.safe_z_mm:g}, the bit's tip on the board {cut.surface_z_mm:g} mm. Each bit "
        "goes equally deep into the chuck, or Z is set anew.",
    ]
    bare = missing_words(registration.placement.holes_without_land)
    if bare:
        lines.append(f"LOOK FIRST: {bare}.")
    for bit in work.bits_mm:
        p = cut.pass_of(bit)
        count = sum(stop.bit_mm == bit for stop in work.stops)
        how = "in one go" if p.pecks == 1 else f"in {p.pecks} pecks"
        lines.append(
            f"Bit {bit:g} mm: {count} places, down to Z {p.drill_z_mm:.2f}, {p.feed_mm_min:.0f} "
            f"mm/min, {how}."
        )
    if places.approach_mm.any():
        x, y = places.approach_mm
        lines.append(f"Each place is come to from X-{x:.2f} Y-{y:.2f}, to take up backlash.")
    lines.append("G4 P is in seconds: some controllers take milliseconds, look before you run it.")
    if cut.dry_run:
        lines.append("DRY RUN: this file never goes below the safe height nor starts the spindle.")
    return lines
