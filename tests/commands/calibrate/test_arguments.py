"""How a command is told which board it looks at, and at what scale it was printed."""

from __future__ import annotations

import argparse

import pytest

from drillaid.commands.calibrate.arguments import add_pattern_arguments, pattern_from
from drillaid.errors import InputError


def pattern(*words: str):
    parser = argparse.ArgumentParser()
    add_pattern_arguments(parser)
    return pattern_from(parser.parse_args(words))


def test_what_is_printed_on_a4_is_what_is_expected():
    board = pattern()
    assert (board.columns, board.rows, board.square_mm, board.coded) == (26, 16, 10.0, True)


def test_squares_and_their_size():
    board = pattern("--squares", "12x7", "--square-mm", "8.5")
    assert (board.columns, board.rows, board.square_mm, board.coded) == (12, 7, 8.5, True)


def test_a_chessboard_is_named_by_its_inner_corners():
    board = pattern("--chessboard", "9x6", "--square-mm", "25")
    assert (board.columns, board.rows, board.coded) == (10, 7, False)
    assert len(board.corners_mm) == 9 * 6


@pytest.mark.parametrize(
    ("squares", "drawn_mm"), [("26x16", 100), ("10x7", 100), ("9x7", 50), ("4x3", 20)]
)
def test_measured_bar_gives_the_true_squares(squares, drawn_mm):
    """1.2 % too large on the bar is 1.2 % too large on each square."""
    board = pattern("--squares", squares, "--ruler-mm", str(drawn_mm * 1.012))
    assert board.square_mm == pytest.approx(10.12, abs=1e-9)


@pytest.mark.parametrize("measured", ["94.9", "105.1", "50", "3.94", "10", "0", "-100", "nan"])
def test_a_bar_that_cannot_be_is_refused_with_what_to_do(measured):
    with pytest.raises(InputError) as caught:
        pattern("--ruler-mm", measured)
    told = str(caught.value)
    assert "100 mm" in told and "100 %" in told and "fit to page" in told and "--squares" in told


@pytest.mark.parametrize(
    "words",
    [
        ("--squares", "26"),
        ("--squares", "2x9"),
        ("--chessboard", "9by6"),
        ("--square-mm", "0"),
        ("--square-mm", "nan"),
    ],
)
def test_what_is_no_board_is_refused(words):
    with pytest.raises(InputError):
        pattern(*words)


def test_the_option_at_fault_is_named():
    with pytest.raises(InputError, match="--chessboard"):
        pattern("--chessboard", "nine")
    with pytest.raises(SystemExit):
        pattern("--chessboard", "9x6", "--squares", "26x16")
