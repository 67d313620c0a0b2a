"""How the commands that look at a test board are told which one it is."""

from __future__ import annotations

import argparse

from drillaid.errors import UsageError

SQUARES = "26x16"  # what fits on A4 with squares of 10 mm
SQUARE_MM = 10.0


def add_pattern_arguments(parser: argparse.ArgumentParser, *, measured: bool = True) -> None:
    """--squares or --chessboard, --square-mm and, of a board that exists, --ruler-mm.

    measured: False for the command that draws the board; it then fits --squares to the paper.
    """
    kind = parser.add_mutually_exclusive_group()
    kind.add_argument(
        "--squares",
        metavar="CxR",
        help=f"squares across and down, as the sheet says (default: {SQUARES})"
        if measured
        else "squares across and down (default: as many as fit)",
    )
    kind.add_argument(
        "--chessboard",
        metavar="CxR",
        help="a plain chessboard with that many inner corners across and down, such as 9x6",
    )
    parser.add_argument(
        "--square-mm",
        type=float,
        default=SQUARE_MM,
        metavar="MM",
        help=f"side of a square as it was drawn (default: {SQUARE_MM:g})",
    )
    if measured:
        parser.add_argument(
            "--ruler-mm",
            type=float,
            metavar="MM",
            help="what the sheet's ruler bar really measures, with callipers; the true size of "
            "the squares follows (default: as drawn)",
        )


def pattern_from(args: argparse.Namespace):
    """The board in front of the camera at its true scale, a `calibration.pattern.Pattern`.

    Raises InputError and UsageError, each with what to do.
    """
    from calibration.pattern import Pattern, parse_counts

    if args.chessboard is not None:
        pattern = chessboard(args.chessboard, args.square_mm)
    else:
        pattern = Pattern(*parse_counts(args.squares or SQUARES), args.square_mm)
    measured_mm = getattr(args, "ruler_mm", None)
    return pattern if measured_mm is None else _measured(pattern, measured_mm)


def chessboard(corners: str, square_mm: float):
    """A plain chessboard by its inner corners: one square more than corners each way."""
    from calibration.pattern import Pattern, parse_counts

    columns, rows = parse_counts(corners, "--chessboard")
    return Pattern(columns + 1, rows + 1, square_mm, coded=False)


def _measured(pattern, measured_mm: float):
    measured = pattern.measured(measured_mm)
    if measured is None:
        raise UsageError(
            f"--ruler-mm {measured_mm:g} cannot be the bar of this board, which is drawn "
            f"{pattern.bar_mm:g} mm long; measure the black bar from end to end, in mm, and look "
            "whether --squares and --square-mm are those printed on it",
            remedy='a sheet printed with "fit to page" must be printed again at 100 %',
        )
    return measured
