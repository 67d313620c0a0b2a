from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from support import etched_board

from drillaid.design.gerber_objects import area
from drillaid.design.outline import closed_rings, read_outline
from drillaid.errors import DesignError

HEAD = "%FSLAX46Y46*%%MOMM*%%ADD10C,0.1*%D10*G01*G75*"


def lines(*pairs) -> bytes:
    def at(x, y):
        return f"X{round(x * 1e6)}Y{round(y * 1e6)}"

    text = "".join(f"{at(*a)}D02*{at(*b)}D01*" for a, b in pairs)
    return (HEAD + text + "M02*").encode()


def outline(data):
    said = []
    return read_outline(data, "edge.gbr", said.append), said


SQUARE = [(0, 0), (50, 0), (50, 30), (0, 30)]
SIDES = list(zip(SQUARE, SQUARE[1:] + SQUARE[:1], strict=True))


def test_lines_in_any_order_and_direction_close():
    mixed = [SIDES[2][::-1], SIDES[0], SIDES[3], SIDES[1][::-1]]
    edge, said = outline(lines(*mixed))
    assert not said
    assert edge.size_mm == (50, 30)
    assert abs(area(edge.rings_mm[0])) == pytest.approx(1500)


def test_a_hole_is_the_second_ring_whatever_comes_first():
    circle = "X30000000Y15000000D02*G03*X30000000Y15000000I-5000000J0D01*G01*"
    body = lines(*SIDES).decode().replace("M02*", "")
    for text in (body + circle, HEAD + circle + body[len(HEAD) :]):
        edge, said = outline((text + "M02*").encode())
        assert not said and len(edge.rings_mm) == 2
        assert abs(area(edge.rings_mm[1])) == pytest.approx(25 * math.pi, rel=1e-3)


def test_rounded_corners():
    """A 20 × 10 mm board with corners of 2 mm radius: area 200 - (4 - pi) * 4."""
    text = HEAD + (
        "X2000000Y0D02*X18000000D01*G03*X20000000Y2000000I0J2000000D01*G01*Y8000000D01*"
        "G03*X18000000Y10000000I-2000000J0D01*G01*X2000000D01*G03*X0Y8000000I0J-2000000D01*"
        "G01*Y2000000D01*G03*X2000000Y0I2000000J0D01*M02*"
    )
    edge, said = outline(text.encode())
    assert not said and len(edge.rings_mm) == 1
    assert abs(area(edge.rings_mm[0])) == pytest.approx(200 - (4 - math.pi) * 4, abs=0.02)


@pytest.mark.parametrize("gap, warns", [(0.04, False), (0.6, True)])
def test_gaps(gap, warns):
    sides = [*SIDES[:3], ((0, 30), (0, gap))]
    edge, said = outline(lines(*sides))
    assert edge.size_mm == (50, 30)
    assert abs(area(edge.rings_mm[0])) == pytest.approx(1500, rel=1e-3)
    assert [f"{gap:.2f} mm" in text for text in said] == ([True] if warns else [])


def test_an_open_outline_becomes_its_box_and_says_so():
    edge, said = outline(lines(*SIDES[:2]))
    assert edge.size_mm == (50, 30)
    assert len(said) == 1 and "does not close" in said[0]


def test_loose_lines_are_left_out_and_told():
    edge, said = outline(lines(*SIDES, ((60, 0), (70, 0))))
    assert edge.size_mm == (50, 30) and len(edge.rings_mm) == 1
    assert "1 line of the outline closes nothing and was left out" in said[0]


def test_lines_drawn_twice_count_once():
    edge, said = outline(lines(*SIDES, *[(b, a) for a, b in SIDES]))
    assert len(edge.rings_mm) == 1 and not said


@pytest.mark.parametrize("text", ["", "X0Y0D02*X5000000D01*"])
def test_nothing_enclosed_is_refused(text):
    with pytest.raises(DesignError, match="outline"):
        read_outline((HEAD + text + "M02*").encode(), "edge.gbr")


@given(st.integers(3, 25), st.randoms(), st.floats(0, 0.02))
def test_any_polygon_comes_back_whole(n, random, jitter):
    turn = np.sort(np.array([random.uniform(0, 2 * math.pi / n) for _ in range(n)]))
    turn = turn * 0.8 + np.arange(n) * 2 * math.pi / n
    corners = 40 * np.column_stack([np.cos(turn), np.sin(turn)])
    sides = []
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        side = np.array([a, b]) + [[random.uniform(-jitter, jitter) for _ in "xy"] for _ in "ab"]
        sides.append(side[::-1] if random.random() < 0.5 else side)
    random.shuffle(sides)
    rings, loose, gap = closed_rings(sides)
    assert len(rings) == 1 and not loose
    assert gap <= 0.06
    assert abs(area(rings[0])) == pytest.approx(abs(area(corners)), abs=8)


@etched_board.needed
def test_a_real_outline():
    """Four lines and one full circle: 90 × 70 mm with an opening of 16 mm."""
    edge, said = outline(etched_board.layer("Edge_Cuts")[0])
    assert not said
    assert edge.size_mm == pytest.approx((90, 70))
    assert len(edge.rings_mm) == 2
    assert np.ptp(edge.rings_mm[1], axis=0) == pytest.approx([16, 16], abs=0.01)
