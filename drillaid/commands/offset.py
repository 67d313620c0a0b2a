"""`drillaid records offset`: what drilled boards say of the spindle's place."""

from __future__ import annotations

import argparse

from drillaid.commands import DONE, REFUSED, Answer, say
from drillaid.errors import UsageError

SUMMARY = "what drilled boards say of the spindle's place, and its correction"
EXAMPLE = "drillaid records offset --rig bench.toml --apply"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--rig", metavar="FILE", help="the rig file the boards were drilled with")
    change = parser.add_mutually_exclusive_group()
    change.add_argument(
        "--apply", action="store_true", help="moves the spindle's place in the rig file by it"
    )
    change.add_argument(
        "--take-back", action="store_true", help="undoes the last correction in the rig file"
    )
    parser.add_argument(
        "--board", type=int, action="append", metavar="N", help="of these boards only"
    )
    parser.add_argument(
        "--data", metavar="DIR", help="the folder of the journal (default: $DRILLAID_DATA or yours)"
    )


def run(args: argparse.Namespace) -> Answer:
    if args.rig is None and (args.apply or args.take_back):
        raise UsageError("the correction stands in a rig file", remedy="name it with --rig")
    if args.take_back:
        return _take_back(args.rig)
    from drillaid.inspection.learning import by_board, common_offset, drift_sentence
    from drillaid.inspection.recording import drilled_holes
    from drillaid.journal.journal import Journal
    from drillaid.rig.file import load_rig

    rig = None if args.rig is None else load_rig(args.rig)
    with Journal.open(args.data) as journal:
        if journal.notice:
            say(journal.notice)
        learned = drilled_holes(
            journal, spindle_mm=None if rig is None else rig.spindle_mm, boards=args.board
        )
        offset = common_offset(learned.holes)
        boards = by_board(learned.holes)
    silent = [f"Board {n} does not count: {why}." for n, why in learned.silent.items()]
    if offset is None:
        text = (
            f"{len(learned.holes)} holes were guided and measured, too few to learn from. "
            "Guide boards with a rig file and inspect them with --board."
        )
        return Answer("\n".join([text, *silent]), _data("too_few", text, None, learned), REFUSED)
    drift = drift_sentence(boards)
    lines = [offset.sentence, *_board_lines(boards), *([drift] if drift else []), *silent]
    data = _data("systematic" if offset.systematic else "scatter", offset.sentence, offset, learned)
    data["by_board"] = [
        {"board": b.board, "holes": b.holes, "off_mm": list(b.off_mm), "scatter_mm": b.scatter_mm}
        for b in boards
    ]
    data["drift"] = drift
    data["applied"] = False
    if args.apply:
        if not offset.systematic:
            return Answer("\n".join([*lines, "Nothing was changed."]), data, REFUSED)
        lines.append(_apply(args.rig, offset))
        data["applied"] = True
    elif offset.systematic:
        lines.append(
            "--apply moves the spindle's place in the rig file by that; --take-back undoes it."
        )
    return Answer("\n".join(lines), data, DONE)


def _board_lines(boards) -> list[str]:
    if len(boards) < 2:
        return []
    return [
        f"  board {b.board}: {b.holes} holes, ({b.off_mm[0]:+.3f}, {b.off_mm[1]:+.3f}) mm off, "
        f"scatter {b.scatter_mm:.3f} mm"
        for b in boards[-12:]
    ]


def _apply(path: str, offset) -> str:
    from calibration.rig_draft import read_draft
    from calibration.spindle_offset import with_offset

    draft = with_offset(read_draft(path), offset)
    draft.save()
    x, y = draft.section("spindle")["axis_mm"]
    return (
        f"The spindle's place in {path} is now ({x:.3f}, {y:.3f}) mm; "
        "drillaid records offset --take-back undoes that. Drill one hole in scrap first."
    )


def _take_back(path: str) -> Answer:
    from calibration.rig_draft import read_draft
    from calibration.spindle_offset import history, taken_back

    draft = taken_back(read_draft(path))
    draft.save()
    axis = draft.section("spindle")["axis_mm"]
    text = f"The spindle's place in {path} is ({axis[0]:.3f}, {axis[1]:.3f}) mm again."
    data = {"status": "taken_back", "message": text, "axis_mm": axis, "history": history(draft)}
    return Answer(text, data)


def _data(status: str, message: str, offset, learned) -> dict:
    data = {
        "status": status,
        "message": message,
        "measured": len(learned.holes),
        "silent": [{"board": n, "reason": why} for n, why in learned.silent.items()],
    }
    if offset is None:
        return data
    return data | {
        "off_mm": list(offset.off_mm),
        "sigma_mm": offset.sigma_mm,
        "scatter_mm": offset.scatter_mm,
        "t_squared": offset.t_squared,
        "chance": offset.chance,
        "holes": offset.holes,
        "boards": offset.boards,
        "left_out": offset.left_out,
    }
