from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support import etched_board

from drillaid.design.model import Design, Hole, Land
from drillaid.design.parts import find_parts


def row(n, pitch=2.54, at=(0.0, 0.0), angle_deg=0.0):
    a = math.radians(angle_deg)
    return [(at[0] + i * pitch * math.cos(a), at[1] + i * pitch * math.sin(a)) for i in range(n)]


def dual(n, apart=7.62, pitch=2.54, at=(0.0, 0.0)):
    return row(n, pitch, at) + row(n, pitch, (at[0], at[1] + apart))


def board(*groups, drill=0.8, land=None):
    places = [xy for group in groups for xy in group]
    holes = tuple(Hole(k + 1, round(x, 4), round(y, 4), drill) for k, (x, y) in enumerate(places))
    return Design("drawn", holes, (land,) * len(holes) if land else ())


def found(design):
    return sorted(
        (p.kind, p.rows, len(p.holes), p.pitch_mm, p.row_spacing_mm) for p in find_parts(design)
    )


def test_one_row_and_its_name():
    (part,) = find_parts(board(row(8)))
    assert part.name == "row of 8, 2.54 mm pitch"
    assert part.holes == tuple(range(1, 9))


def test_a_dual_row_lists_both_rows_in_one_direction():
    (part,) = find_parts(board(row(14), row(14, at=(0, 7.62))[::-1]))
    assert part.name == "dual row 2 × 14, 2.54 mm pitch, 7.62 mm apart"
    assert part.holes == (*range(1, 15), *range(28, 14, -1))


@pytest.mark.parametrize("pitch", [1.27, 2.0, 2.5, 2.54, 3.5, 3.81, 5.0, 5.08, 7.5, 7.62])
@pytest.mark.parametrize("angle", [0, 45, 90, 17.3])
def test_pitches_are_told_apart(pitch, angle):
    (part,) = find_parts(board(row(4, pitch, angle_deg=angle)))
    assert (part.pitch_mm, len(part.holes)) == (pitch, 4)


def test_pairs_and_odd_holes_are_no_parts():
    assert find_parts(board([(0, 0), (2.54, 0), (20, 0), (20, 5.08), (40, 3)])) == ()
    assert find_parts(board([(0, 0), (3.1, 0), (6.2, 0), (9.3, 0)])) == ()  # no usual pitch
    assert find_parts(board([])) == ()


def test_a_grid_is_one_part():
    (part,) = find_parts(board(*[row(4, at=(0, 2.54 * k)) for k in range(3)]))
    assert (part.kind, part.rows, len(part.holes)) == ("grid", 3, 12)
    assert part.name == "grid of 3 × 4, 2.54 mm"


def test_a_header_beside_a_dip_stays_apart():
    """Rows at 0, 7.62 and 10.16 mm: the last is a header one pitch beside the package."""
    design = board(dual(7), row(8, at=(0, 10.16)))
    assert found(design) == [("dual row", 2, 14, 2.54, 7.62), ("row", 1, 8, 2.54, None)]


def test_a_header_of_equal_length_beside_a_dip_stays_apart():
    design = board(dual(8), row(8, at=(0, 10.16)))
    assert found(design) == [("dual row", 2, 16, 2.54, 7.62), ("row", 1, 8, 2.54, None)]


def test_a_header_in_line_with_a_dip_row_is_cut_off():
    """One row of the package runs on into a header on the same grid with no gap."""
    design = board(dual(7), row(6, at=(7 * 2.54, 0)))
    assert found(design) == [("dual row", 2, 14, 2.54, 7.62), ("row", 1, 6, 2.54, None)]


def test_dips_side_by_side_pair_from_the_outside():
    """Four rows 7.62 mm apart: two packages, not one and two strays."""
    design = board(dual(8), dual(8, at=(0, 15.24)))
    parts = find_parts(design)
    assert [p.holes[0] for p in parts] == [1, 17]
    assert found(design) == [("dual row", 2, 16, 2.54, 7.62)] * 2


def test_dips_end_to_end_across_a_gap_are_two():
    design = board(dual(4), dual(4, at=(6 * 2.54, 0)))
    assert found(design) == [("dual row", 2, 8, 2.54, 7.62)] * 2


def test_different_drills_or_lands_are_different_parts():
    holes = [Hole(k + 1, 2.54 * k, 0, 0.8 if k < 4 else 1.0) for k in range(8)]
    assert [p.holes for p in find_parts(Design("d", tuple(holes)))] == [(1, 2, 3, 4), (5, 6, 7, 8)]
    same = [Hole(k + 1, 2.54 * k, 0, 1.0) for k in range(8)]
    lands = tuple(Land("round", (1.6, 1.6) if k < 4 else (2.4, 2.4)) for k in range(8))
    assert [p.holes for p in find_parts(Design("d", tuple(same), lands))] == [
        (1, 2, 3, 4),
        (5, 6, 7, 8),
    ]


def test_holes_in_between_break_a_wide_row():
    """Every third hole of an uneven line is 7.62 mm apart by chance only."""
    line = [0, 2.54, 7.62, 15.24, 15.24 + 5.08]
    assert find_parts(board([(x, 0) for x in line])) == ()
    assert len(find_parts(board([(x, 0) for x in (0, 7.62, 15.24)]))) == 1


def test_slots_take_no_part():
    holes = tuple(Hole(k + 1, 2.54 * k, 0, 1.0, slot_to_mm=(2.54 * k, 1)) for k in range(4))
    assert find_parts(Design("slots", holes)) == ()


LAYOUT = [dual(7), row(8, at=(30, 3)), row(3, 5.08, (0, 20)), dual(5, 2.54, 2.54, (30, 20)),
          [(50, 40), (60, 41), (70, 38)]]  # fmt: skip
EXPECTED = [
    ("dual row", 2, 10, 2.54, 2.54),
    ("dual row", 2, 14, 2.54, 7.62),
    ("row", 1, 3, 5.08, None),
    ("row", 1, 8, 2.54, None),
]


@settings(max_examples=60, deadline=None)
@given(st.floats(0, 2 * math.pi), st.floats(-200, 200), st.booleans(), st.randoms())
def test_any_rotation_mirror_and_order_finds_the_same_parts(angle, shift, mirror, random):
    xy = np.array([p for group in LAYOUT for p in group])
    order = list(range(len(xy)))
    random.shuffle(order)
    c, s = math.cos(angle), math.sin(angle)
    turned = (xy * (-1 if mirror else 1, 1)) @ np.array([[c, s], [-s, c]]) + shift
    design = board([tuple(turned[k]) for k in order])
    assert found(design) == EXPECTED
    # each part holds just the holes that were drawn for it
    drawn = [
        set(range(sum(map(len, LAYOUT[:g])), sum(map(len, LAYOUT[: g + 1])))) for g in range(5)
    ]
    for part in find_parts(design):
        assert {order[n - 1] for n in part.holes} in drawn[:4]


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), unique=True, max_size=80))
def test_every_hole_is_in_one_part_at_most(cells):
    parts = find_parts(board([(2.54 * x, 2.54 * y) for x, y in cells]))
    used = [n for part in parts for n in part.holes]
    assert len(used) == len(set(used))
    assert all(len(part.holes) >= 3 for part in parts)


def test_two_holes_at_one_place_do_no_harm():
    parts = find_parts(board(row(5), row(5)))
    used = [n for part in parts for n in part.holes]
    assert len(used) == len(set(used))


@etched_board.needed
def test_a_real_board():
    """The board carries a module on two rows of 20, 17.78 mm apart, and a header of 17."""
    parts = find_parts(Design("real", etched_board.holes()))
    assert ("dual row", 40, 17.78) in [(p.kind, len(p.holes), p.row_spacing_mm) for p in parts]
    assert ("row", 17, 2.54) in [(p.kind, len(p.holes), p.pitch_mm) for p in parts]
    assert all(p.pitch_mm == 2.54 for p in parts)  # nothing else on it is a row


# -- one part on two rows, or several small ones ------------------------------------------------


def _names(*names, places):
    holes = tuple(
        Hole(k + 1, *xy, 0.8, component=name)
        for k, (xy, name) in enumerate(zip(places, names, strict=True))
    )
    return Design("named", holes)


def test_named_components_settle_it():
    places = dual(4)
    (part,) = find_parts(_names(*["U1"] * 8, places=places))
    assert part.sure and part.name == "dual row 2 × 4, 2.54 mm pitch, 7.62 mm apart"
    resistors = ["R1", "R2", "R3", "R4"]
    assert find_parts(_names(*resistors, *resistors, places=places)) == ()
    # a header right beside a resistor's hole at the same pitch keeps its own length
    line = _names("J1", "J1", "J1", "J1", "R1", places=row(5))
    assert [p.holes for p in find_parts(line)] == [(1, 2, 3, 4)]


def _marked(places, marks):
    """Square lands at `marks`, round ones elsewhere."""
    holes = tuple(Hole(k + 1, x, y, 0.8) for k, (x, y) in enumerate(places))
    lands = tuple(
        Land("rectangle" if k in marks else "round", (1.6, 1.6)) for k in range(len(places))
    )
    return Design("marked", holes, lands)


def test_the_land_of_the_first_pin_settles_it():
    (part,) = find_parts(_marked(dual(4), {0}))
    assert part.sure
    (part,) = find_parts(_marked(dual(4, 10.16), {7}))
    assert part.sure
    assert find_parts(_marked(dual(4), {0, 1, 2, 3})) == ()  # each has a first pin of its own
    assert find_parts(_marked(dual(4), {4, 5, 6, 7})) == ()
    (part,) = find_parts(_marked(dual(4), {1}))  # not where a first pin is
    assert not part.sure
    (part,) = find_parts(_marked(dual(4), {0, 6}))
    assert not part.sure


@pytest.mark.parametrize(
    ("count", "apart", "pitch", "sure"),
    [
        (8, 7.62, 2.54, True),  # so many resistors exactly like that are unlikely
        (4, 7.62, 2.54, False),
        (4, 10.16, 2.54, False),
        (20, 17.78, 2.54, True),
        (8, 9.0, 2.54, False),  # no package's rows are so far apart
        (5, 10.16, 5.08, False),
        (4, 2.54, 2.54, True),
        (3, 2.0, 2.0, True),
    ],
)
def test_without_either_it_is_weighed_and_said_when_open(count, apart, pitch, sure):
    (part,) = find_parts(board(dual(count, apart, pitch)))
    assert part.kind == "dual row"
    assert part.sure is sure
    assert ("may be" in part.name) is not sure


def test_several_small_parts_are_no_row_either():
    """Their holes do not come back as two single rows."""
    assert find_parts(_marked(dual(6, 10.16), set(range(6)))) == ()
