"""`drillaid calibrate target`: the test board and the reference marks, to print or to etch."""

from __future__ import annotations

import argparse

from drillaid.commands import Answer
from drillaid.commands.calibrate.arguments import SQUARE_MM, add_pattern_arguments, chessboard
from drillaid.errors import UsageError

SUMMARY = "draws the test board or the reference marks, to print or to etch"
EXAMPLE = "drillaid calibrate target --paper A4 --out test-board.pdf"
BOARD_FILE, MARKS_FILE = "test-board.pdf", "reference-marks.pdf"
ETCHED_MM = "160x100"  # the usual half-size blank board; common practice, no source


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_pattern_arguments(parser, measured=False)
    parser.add_argument(
        "--out",
        metavar="FILE",
        help=f".pdf, .svg or .png to print; .gbr, .zip or folder/ to etch (default: {BOARD_FILE})",
    )
    parser.add_argument(
        "--paper",
        metavar="SIZE",
        help="A2 to A6, Letter, Legal, Tabloid, or WxH in mm as it lies "
        f"(default: A4; for etching the board, {ETCHED_MM})",
    )
    way = parser.add_mutually_exclusive_group()
    way.add_argument("--landscape", action="store_true", help="the long side lies (default)")
    way.add_argument("--portrait", action="store_true", help="the long side stands")
    parser.add_argument(
        "--marks",
        action="store_true",
        help="draw the reference marks to stick on the drill's table instead",
    )
    parser.add_argument("--dpi", type=float, default=600.0, help="of a PNG (default: 600)")


def run(args: argparse.Namespace) -> Answer:
    from calibration.sheet.paper import paper_mm
    from calibration.sheet.write import is_etched

    if not args.out:
        args.out = MARKS_FILE if args.marks else BOARD_FILE
    etched = is_etched(args.out)
    name = args.paper or (ETCHED_MM if etched else "A4")
    size_mm = paper_mm(name, upright=args.portrait)
    return _marks(args, size_mm, etched) if args.marks else _board(args, size_mm, etched)


def _board(args: argparse.Namespace, size_mm, etched: bool) -> Answer:
    from calibration.pattern import Pattern, parse_counts
    from calibration.sheet.board import Place, largest_pattern, options_of, test_board
    from calibration.sheet.write import write_sheet

    place = Place(*size_mm, etched)
    if args.chessboard is not None:
        pattern = chessboard(args.chessboard, args.square_mm)
    elif args.squares is not None:
        pattern = Pattern(*parse_counts(args.squares), args.square_mm)
    else:
        pattern = largest_pattern(args.square_mm, place)
    files = write_sheet(test_board(pattern, place), args.out, dpi=args.dpi)
    told = options_of(pattern)
    made = f"{files[0]}: {pattern.columns} x {pattern.rows} squares of {pattern.square_mm:g} mm"
    message = f"{made} on {place.width_mm:g} x {place.height_mm:g} mm."
    lines = [message, "", *(_etching() if etched else _printing())]
    lines.append(
        f"Measure the black bar with callipers: it was drawn {pattern.bar_mm:g} mm long.\n"
        "Type what it measured in place of ____:\n\n"
        f"  drillaid calibrate lens PHOTOS --rig rig.toml {told} --ruler-mm ____"
    )
    corners = None if pattern.coded else [pattern.columns - 1, pattern.rows - 1]
    data = {
        "status": "done",
        "message": message,
        "file": str(files[0]),
        "files": [str(path) for path in files],
        "squares": [pattern.columns, pattern.rows],
        "chessboard": corners,
        "square_mm": pattern.square_mm,
        "ruler_mm": pattern.bar_mm,
        "paper_mm": list(size_mm),
        "options": told,
    }
    return Answer("\n".join(lines), data)


def _printing() -> list[str]:
    return [
        'Print it at 100 % ("actual size"), never "fit to page", and glue it flat onto',
        "something stiff, such as glass: a bent board bends what the lens is said to do.",
    ]


def _etching() -> list[str]:
    return [
        "For single-sided copper on the bottom: the files are mirrored, as a design seen from",
        "the component side is, so that the words on the copper can be read.",
        "CAUTION: etchant burns skin and eyes and glass dust irritates: goggles, gloves for the",
        "bath (none at the drill), damp wiping; local rules and the person in charge come first.",
        "The lands in the rims may be drilled later, to try the finished rig on this very board.",
    ]


def _marks(args: argparse.Namespace, size_mm, etched: bool) -> Answer:
    from calibration.sheet.marks import marks_sheet
    from calibration.sheet.write import write_sheet
    from drillaid.rig import marks

    if etched:
        raise UsageError(
            "the reference marks are printed, not etched", remedy="let --out end in .pdf"
        )
    if args.squares or args.chessboard or args.square_mm != SQUARE_MM:
        raise UsageError(
            "--marks has nothing to do with the squares of the test board",
            remedy="draw the two by two calls, one of them without --marks",
        )
    files = write_sheet(marks_sheet(*size_mm), args.out, dpi=args.dpi)
    message = f"{files[0]}: reference marks 1 to {marks.COUNT}, {marks.SIDE_MM:g} mm each."
    text = (
        f"{message}\n\n"
        "Print the page at 100 %, cut the marks out with their white rims, and with the drill\n"
        "switched off stick three or more, better four, flat on its table: wide apart, all round\n"
        "the place of the board, where the camera sees them while you work and nothing covers or\n"
        "moves them. Use each number once. Then run drillaid calibrate bench, which stores them."
    )
    data = {
        "status": "done",
        "message": message,
        "file": str(files[0]),
        "marks": list(range(1, marks.COUNT + 1)),
        "mark_mm": marks.SIDE_MM,
        "paper_mm": list(size_mm),
    }
    return Answer(text, data)
