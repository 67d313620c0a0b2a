"""Ring and breakout of a round hole in a round land against separately derived figures.

Source of the table: derived from the two-circle geometry and recomputed
numerically, independent of this code; no published table was found. The
form "ring = A - h - e" is the trade's definition of an annular ring.
"""

from __future__ import annotations

import math

import pytest

from drillaid.design.gerber_reader import read_objects
from drillaid.design.model import Land
from drillaid.design.outline import read_outline
from drillaid.design.ring import breakout_deg, land_breakout_deg, ring_left

# land Ø, hole Ø, e at tangency, e at 90°, e at 180°, breakout at e = 0.40
TABLE = [
    (1.6, 0.9, 0.350, 0.415798, 0.661438, 79.1424),
    (1.52, 0.8, 0.360, 0.422565, 0.646220, 72.7795),
    (1.4, 0.8, 0.300, 0.357470, 0.574456, 115.8201),
    (2.0, 1.0, 0.500, 0.581861, 0.866025, 0.0),
]


@pytest.mark.parametrize("land, hole, tangent, quarter, half, at_040", TABLE)
def test_breakout_angle(land, hole, tangent, quarter, half, at_040):
    a, h = land / 2, hole / 2
    assert breakout_deg(a, h, tangent - 1e-6) == 0.0
    assert 0 < breakout_deg(a, h, tangent + 1e-6) < 1
    # the table gives e to six places; near these angles 1 µm is about 1 degree
    assert breakout_deg(a, h, quarter) == pytest.approx(90, abs=2e-3)
    assert breakout_deg(a, h, half) == pytest.approx(180, abs=2e-3)
    assert breakout_deg(a, h, 0.40) == pytest.approx(at_040, abs=1e-4)


@pytest.mark.parametrize("land, hole, tangent, quarter, half, at_040", TABLE)
def test_ring_is_zero_at_tangency(land, hole, tangent, quarter, half, at_040):
    round_land = Land("round", (land, land))
    assert ring_left(round_land, (tangent, 0), hole) == pytest.approx(0, abs=1e-9)
    assert ring_left(round_land, (0, 0.1), hole) == pytest.approx(land / 2 - hole / 2 - 0.1)
    # the general form counts points of the hole's edge: 1440 of them, 0.25 degree each
    assert land_breakout_deg(round_land, (0, -0.4), hole) == pytest.approx(at_040, abs=0.5)


def test_ring_of_the_last_row():
    """Land 2.0, hole 1.0, e = 0.40 leaves 0.100 mm (same table)."""
    assert ring_left(Land("round", (2.0, 2.0)), (0.4, 0), 1.0) == pytest.approx(0.100)


# IPC-2222 hole allowances A/B/C and land = hole + 2 ring + c: the form is quoted
# on the web, the c values are of unsure standing (two sources disagree), so this
# checks arithmetic only. Lead: 0.64 mm square post, diagonal 0.905 mm (connector
# makers' guides; 0.64 * sqrt 2).
@pytest.mark.parametrize(
    "allowance, c, hole, land", [(0.25, 0.4, 1.1551, 1.855), (0.20, 0.25, 1.1051, 1.655),
                                 (0.15, 0.2, 1.0551, 1.555)]
)  # fmt: skip
def test_land_built_for_a_square_post_leaves_ring_and_allowance(allowance, c, hole, land):
    lead = 0.64 * math.sqrt(2)
    assert lead == pytest.approx(0.905, abs=1e-3)
    assert lead + allowance == pytest.approx(hole, abs=1e-4)
    left = ring_left(Land("round", (land, land)), (0, 0), hole)
    assert left == pytest.approx(0.150 + c / 2, abs=1e-3)
    # the allowance is what hole position and etching may use up before 0.150 mm is reached
    assert ring_left(Land("round", (land, land)), (c / 2, 0), hole) == pytest.approx(
        0.150, abs=1e-3
    )


TWO_SQUARES = (
    "%MOMM*%%FSLAX26Y26*%%TF.Part,Other,example*%%LPD*%%ADD10C,0.010*%D10*X0Y0D02*G01*"
    "X5000000Y0D01*Y5000000D01*X0D01*Y0D01*X6000000D02*X11000000D01*Y5000000D01*X6000000D01*"
    "Y0D01*M02*"
)


def test_gerber_example_two_square_boxes():
    """The Gerber Layer Format Specification, 2.11.1 "Two square boxes", as quoted in public
    repositories: squares of 5 mm at (0, 0) and (6, 0), drawn with a pen of 0.01 mm."""
    drawn = read_objects(TWO_SQUARES.encode(), "example.gbr")
    assert [d.kind for d in drawn] == ["stroke"] * 8
    assert {d.width_mm for d in drawn} == {0.01}
    rings = read_outline(TWO_SQUARES.encode(), "example.gbr").rings_mm
    boxes = sorted((*ring.min(axis=0), *ring.max(axis=0)) for ring in rings)
    assert boxes == [(0, 0, 5, 5), (6, 0, 11, 5)]
