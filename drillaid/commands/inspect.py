"""`drillaid inspect`: what was drilled, measured in one photograph."""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from drillaid.commands import DONE, REFUSED, Answer, add_photograph_arguments, say
from drillaid.errors import UsageError

SUMMARY = "measures a drilled board"
EXAMPLE = "drillaid inspect board.drl board-B_Cu.gbr drilled.jpg --rig bench.toml --report board.html"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_photograph_arguments(parser, without_rig="no true lengths")
    parser.add_argument(
        "--bits", metavar="MM,MM,…", help="the bits that were at hand (default: as the design asks)"
    )
    parser.add_argument(
        "--pin", action="append", default=[], metavar="HOLE:SHAPE:MM[xMM][:TOL]",
        help="the pins of the part that has this hole, such as 12:square:0.64:0.02 or "
        "3:flat:0.5x0.25 or 7:round:1.0 (default: those in common use at its pitch)",
    )  # fmt: skip
    parser.add_argument(
        "--board", metavar="N", help="records this with that board of the journal; none: with "
        "no board (default: the last board of this design, if it was worked on within a day)",
    )  # fmt: skip
    parser.add_argument(
        "--data", metavar="DIR", help="the folder of the journal (default: $DRILLAID_DATA or yours)"
    )
    parser.add_argument("--report", metavar="FILE", help="also writes the report, an HTML file")


def run(args: argparse.Namespace) -> Answer:
    from drillaid.commands.register import checked_thickness, registration_json
    from drillaid.design.bits import assign_bits
    from drillaid.design.parts import find_parts
    from drillaid.design.read import read_design
    from drillaid.inspection.measure import measure_holes
    from drillaid.inspection.result import MEASURED
    from drillaid.inspection.summary import conclude
    from drillaid.registration.register import register_picture
    from drillaid.rig.file import load_rig
    from drillaid.rig.pictures import check_size, read_picture

    thickness = checked_thickness(args.thickness)
    at_hand = _bits_at_hand(args.bits)
    if args.report is not None and not Path(args.report).resolve().parent.is_dir():
        raise UsageError(
            f"there is no folder for the report {args.report}", remedy="give one that exists"
        )
    design = read_design(args.design, face=args.face)
    parts = find_parts(design)
    pins = pins_from(args.pin, parts)
    picture = read_picture(args.photo)
    rig = None if args.rig is None else load_rig(args.rig)
    if rig is not None:
        check_size(rig, picture)
    registration = register_picture(
        picture, design, rig=rig, face=args.face, thickness_mm=thickness
    )
    place = registration_json(registration, design, rig)
    if not registration.ok:
        data = {"status": registration.status, "message": registration.message,
                "registration": place, "holes": [], "parts": [], "summary": {}}  # fmt: skip
        return Answer(registration.message, data, REFUSED)
    bits = None
    if at_hand is not None:
        bits = [choice.bit_mm for choice in assign_bits(design, at_hand)]
    start = time.perf_counter()
    findings = measure_holes(
        picture, design, registration.placement, rig,
        face=args.face, thickness_mm=thickness, bits_mm=bits,
    )  # fmt: skip
    seconds = {"measure": time.perf_counter() - start}
    inspection = conclude(
        findings, parts, design, true_scale=rig is not None, seconds=seconds,
        bits_mm=at_hand, pins=pins,
    )  # fmt: skip
    if inspection.status != MEASURED:
        # nothing was measured, so nothing is filed with a board that may be another one
        return Answer(inspection.message, inspection_json(inspection) | {"registration": place}, REFUSED)
    if args.report is not None:
        from drillaid.inspection.report import write_report

        written = write_report(
            args.report, design=design, registration=registration, inspection=inspection,
            picture=picture, rig=rig, face=args.face, thickness_mm=thickness, bits_mm=bits,
        )  # fmt: skip
        say(f"report: {written}")
    data = inspection_json(inspection)
    data["board"] = _recorded(args, design, inspection, data)
    data["registration"] = place
    return Answer(_text(inspection), data, DONE if inspection.ok else REFUSED)


def _recorded(args: argparse.Namespace, design, inspection, data: dict) -> int | None:
    """The board of the journal this was written down with; None for none."""
    from drillaid.inspection.recording import board_to_record_with, record_inspection
    from drillaid.journal.journal import Journal
    from drillaid.journal.store import FILE_NAME, data_folder

    if args.board == "none":
        return None
    folder = data_folder() if args.data is None else Path(args.data)
    if args.board is None and not (folder / FILE_NAME).exists():
        return None
    with Journal.open(folder) as journal:
        if args.board is None:
            board = board_to_record_with(journal, design)
        else:
            board = _named_board(journal, args.board, design)
        if board is None:
            return None
        record_inspection(journal, board.id, inspection, data, photo=Path(args.photo).name)
    say(f"Recorded with board {board.id} of the journal (--board none leaves it out).")
    return board.id


def _named_board(journal, text: str, design):
    from drillaid.journal.journal import design_hash

    if not text.isdigit():
        raise UsageError(f"--board {text} is no number", remedy="drillaid records list shows them")
    board = journal.board(int(text))
    if board.design_hash != design_hash(design):
        raise UsageError(
            f"board {text} was begun with other holes than {design.name} has",
            remedy="name the board of this design, or --board none",
        )
    return board


def _bits_at_hand(text: str | None) -> tuple[float, ...] | None:
    if text is None:
        return None
    from drillaid.design.bits import checked_bits

    try:
        return checked_bits([float(word) for word in text.split(",") if word.strip()])
    except ValueError:
        raise UsageError(
            f"'{text}' is no list of bit sizes", remedy="write it like --bits 0.8,1.0,1.3"
        ) from None


def pins_from(texts: list[str], parts) -> dict:
    """By the holes of a part, the pins that --pin gives it."""
    from drillaid.inspection.fit import read_pin

    pins = {}
    for text in texts:
        number, _, rest = text.partition(":")
        pin = read_pin(rest)
        if pin is None or not number.strip().isdigit():
            raise UsageError(
                f"--pin {text} is not understood",
                remedy="write --pin 12:square:0.64 or --pin 12:flat:0.5x0.25:0.05",
            )
        part = next((part for part in parts if int(number) in part.holes), None)
        if part is None:
            raise UsageError(
                f"--pin {text}: hole {number} belongs to no part",
                remedy="drillaid holes lists the parts and their holes",
            )
        pins[part.holes] = pin
    return pins


def inspection_json(inspection) -> dict:
    """The contract of `inspect --json`, without the registration."""
    return {
        "status": inspection.status,
        "message": inspection.message,
        "holes": [_hole(h) for h in inspection.holes],
        "parts": [_part(p) for p in inspection.parts],
        "summary": _summary(inspection),
        "seconds": dict(inspection.seconds),
    }


def _hole(h) -> dict:
    return {
        "hole": h.hole,
        "state": h.state,
        "centre_mm": _pair(h.centre_mm),
        "off_mm": _pair(h.off_mm),
        "distance_mm": h.distance_mm,
        "diameter_mm": h.diameter_mm,
        "ring_mm": h.ring_mm,
        "breakout_deg": h.breakout_deg,
        "expected_error_mm": h.expected_error_mm,
        "pixel": _pair(h.pixel),
        "asked_mm": h.asked_mm,
        "centre_error_mm": h.centre_error_mm,
        "diameter_error_mm": h.diameter_error_mm,
        "reason": h.reason,
    }


def _pair(value) -> list[float] | None:
    return None if value is None else list(value)


def _part(p) -> dict:
    return {
        "part": p.part,
        "holes": list(p.holes),
        "fits": p.fits,
        "play_mm": p.play_mm,
        "play_error_mm": p.play_error_mm,
        "probability": p.probability,
        "sure": p.sure,
        "remedy": None if p.remedy is None else p.remedy.to_json(),
        "pin": p.pin.name,
        "message": p.sentence,
    }


def _summary(inspection) -> dict:
    s = inspection.summary
    return {
        "holes": s.holes,
        "drilled": s.drilled,
        "undrilled": s.undrilled,
        "hidden": s.hidden,
        "mean_off_mm": _pair(s.mean_off_mm),
        "rms_mm": s.rms_mm,
        "within_95_mm": s.within_95_mm,
        "worst_hole": s.worst_hole,
        "worst_mm": s.worst_mm,
        "narrowest_ring_mm": s.narrowest_ring_mm,
        "broken_out": s.broken_out,
        "parts": s.parts,
        "parts_fitting": s.parts_fitting,
        "parts_unknown": s.parts_unknown,
        "true_scale": inspection.true_scale,
    }


def _text(inspection) -> str:
    from drillaid.inspection.remedy import CAUTION

    lines = [inspection.message]
    if not inspection.true_scale:
        lines.append("Without a rig file, lengths rest on the print having its design size.")
    broken = [h for h in inspection.holes if h.breakout_deg]
    for h in broken:
        lines.append(f"hole {h.hole} broke out of its land over {h.breakout_deg:.0f}°")
    other = [h for h in inspection.holes if h.state == "drilled" and h.reason]
    lines += [f"hole {h.hole}: {h.reason}" for h in other[:12]]
    if len(other) > 12:
        lines.append(f"and {len(other) - 12} more holes of another bit")
    for part in inspection.parts:
        if part.fits is not True or part.close:
            lines.append(f"{part.part} (holes {part.holes[0]} … {part.holes[-1]}): {part.sentence}")
        if part.what_to_do:
            lines.append(f"  what to do: {part.what_to_do}")
    if any(part.remedy is not None and part.remedy.saves for part in inspection.parts):
        lines.append(CAUTION)
    missed = [h for h in inspection.holes if h.state != "drilled"]
    for h in missed[:12]:
        lines.append(f"hole {h.hole} {h.state}: {h.reason}")
    if len(missed) > 12:
        lines.append(f"and {len(missed) - 12} more holes not drilled or not to be seen")
    return "\n".join(lines)
