"""The pattern as a value: sizes, corners, and what the image library makes of it."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.pattern import BARS_MM, Pattern, parse_counts
from drillaid.errors import InputError


def test_corners_are_the_image_librarys_own():
    pattern = Pattern(7, 5, 8.0)
    theirs = np.asarray(pattern.board.getChessboardCorners())[:, :2]
    assert np.allclose(pattern.corners_mm, theirs, atol=1e-5)


def test_the_largest_board_has_marks_enough():
    """60 x 60 squares, half of them white, would need 1800 marks: refused, not drawn in part."""
    with pytest.raises(InputError, match="marks"):
        Pattern(60, 60, 5.0)
    assert len(Pattern(44, 44, 5.0).board.getIds()) <= 1000


def test_scaled_squares():
    assert Pattern(26, 16, 10.0).scaled(1.003).square_mm == pytest.approx(10.03)
    assert Pattern(10, 7, 25.0, coded=False).scaled(0.99).coded is False


@pytest.mark.parametrize("columns", range(3, 61, 3))
def test_the_bar_is_no_wider_than_the_pattern(columns):
    pattern = Pattern(columns, 3, 7.0)
    assert pattern.bar_mm in BARS_MM
    assert pattern.bar_mm <= max(pattern.size_mm[0], BARS_MM[-1])


def test_counts():
    assert parse_counts(" 26 x 16 ") == parse_counts("26X16") == parse_counts("26×16") == (26, 16)
    for text in ("26", "26x", "x16", "26x16x3", "-3x4", "2.5x3", "1000x3"):
        with pytest.raises(InputError, match="--squares"):
            parse_counts(text)
