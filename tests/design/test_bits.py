from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drillaid.design.bits import (
    DEFAULT_BITS_MM,
    assign_bits,
    bit_warnings,
    checked_bits,
    nearest_bit,
)
from drillaid.design.model import Design, Hole, Land
from drillaid.errors import UsageError


def board(*rows, plated=None):
    """rows: (drill, land diameter or None)"""
    holes = tuple(Hole(k + 1, 10.0 * k, 0, drill, plated) for k, (drill, _) in enumerate(rows))
    lands = tuple(
        None if size is None else Land("round", (size, size), 0, (10.0 * k, 0))
        for k, (_, size) in enumerate(rows)
    )
    return Design("drawn", holes, lands)


def bits(design, sizes=DEFAULT_BITS_MM):
    return [choice.bit_mm for choice in assign_bits(design, sizes)]


@pytest.mark.parametrize(
    "asked, bit",
    [
        (1.0, 1.0),
        (1.02, 1.0),  # 0.02 under is taken
        (1.016, 1.0),  # 40 mil, the header of many libraries
        (0.75, 0.8),  # equally near: the larger
        (0.85, 0.9),
        (1.06, 1.1),  # 0.06 under is not taken although 0.04 over is nearer anyway
        (1.4, 1.5),  # never 1.3: 0.1 under
        (0.3, 0.6),
        (3.3, 3.5),
        (6.0, 3.5),  # all are smaller: the largest
    ],
)
def test_the_nearest_suitable_bit(asked, bit):
    assert nearest_bit(asked, DEFAULT_BITS_MM) == bit


@given(st.floats(0.2, 8), st.lists(st.floats(0.2, 8), min_size=1, max_size=12))
def test_no_bit_is_more_than_five_hundredths_under_unless_all_are(asked, sizes):
    sizes = checked_bits(sizes)
    bit = nearest_bit(asked, sizes)
    fitting = [size for size in sizes if size >= asked - 0.05 - 1e-9]
    if fitting:
        assert bit in fitting
        assert abs(bit - asked) <= min(abs(size - asked) for size in fitting) + 1e-6
    else:
        assert bit == sizes[-1]


def test_a_scarce_land_gets_the_smaller_of_two_suitable_bits():
    assert bits(board((0.75, 1.6), (0.75, 1.05), (0.75, None))) == [0.8, 0.7, 0.8]


def test_rings_with_and_without_the_swap():
    (choice,) = assign_bits(board((0.7, 1.6)), [0.8])
    assert choice.ring_mm == pytest.approx(0.4)
    assert choice.asked_ring_mm == pytest.approx(0.45)
    assert choice.off_mm == pytest.approx(0.1)
    (bare,) = assign_bits(board((0.7, None)), [0.8])
    assert bare.ring_mm is None


def test_the_ring_counts_the_land_that_is_off_centre():
    hole = Hole(1, 0, 0, 0.8)
    land = Land("oblong", (3.0, 1.6), 0.0, (0.0, 0.15))
    (choice,) = assign_bits(Design("d", (hole,), (land,)))
    assert choice.ring_mm == pytest.approx(0.8 - 0.15 - 0.4)


def warnings(design, sizes=DEFAULT_BITS_MM, **how):
    return bit_warnings(design, assign_bits(design, sizes), **how)


def test_a_thin_ring_is_told_with_the_standing_of_its_limit():
    (text,) = warnings(board((0.8, 1.0), (0.8, 1.0), (0.8, 1.0), (0.8, 1.6), (0.8, 1.0)))
    assert text.startswith("holes 1–3 and 5: a 0.8 mm bit leaves 0.10 mm of copper")
    assert "0.150 mm" in text and "as remembered, not looked up" in text


def test_enough_copper_says_nothing():
    assert warnings(board((0.8, 1.1), (1.0, 1.6), (1.0, None))) == ()


def test_plated_in_the_file_does_not_help_unless_the_workshop_plates():
    design = board((0.8, 1.0), plated=True)
    assert len(warnings(design)) == 1
    assert warnings(design, workshop_plates=True) == ()
    (thin,) = warnings(board((0.8, 0.86), plated=True), workshop_plates=True)
    assert "0.050 mm" in thin


def test_a_bit_wider_than_the_land_breaks_out():
    (text,) = warnings(board((0.9, 0.95)), [1.0])
    assert "breaks out" in text


def test_a_bit_far_from_what_is_asked_is_told():
    (text,) = warnings(board((3.3, None)))
    assert text == "hole 1: 3.3 mm is asked for and the nearest bit, 3.5 mm, is 0.20 mm larger"
    (text,) = warnings(board((6.0, None)))
    assert "2.50 mm smaller" in text


def test_mechanical_holes_and_pours_are_left_alone():
    assert warnings(board((3.2, 3.2), plated=False)) == ()
    hole = Hole(1, 0, 0, 0.8)
    pour = Land("round", (0.9, 0.9), in_pour=True)
    assert warnings(Design("d", (hole,), (pour,))) == ()


@pytest.mark.parametrize("sizes", [[], [0.0], [0.8, -1], [50], [float("nan")]])
def test_bits_that_cannot_be(sizes):
    with pytest.raises(UsageError) as caught:
        assign_bits(board((0.8, 1.6)), sizes)
    assert caught.value.remedy


def test_sockets_and_headers_get_one_millimetre():
    """Common practice, no source; a 0.64 mm post has a diagonal of 0.905 mm."""
    assert 1.0 in DEFAULT_BITS_MM
    assert bits(board((1.0, 1.7), (1.016, 1.7), (1.02, 1.7), (0.95, 1.7))) == [1.0] * 4
