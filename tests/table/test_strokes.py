"""Feed, pecks and depth of the bit."""

from __future__ import annotations

import math

import pytest
from support.table_bench import QUICK, setup_for

from drillaid.table.strokes import TIP_OF, feed_mm_min, strokes


# Chip load [um/rev] = F [m/min] / N x 10^6: a drill maker's formula, see published values.
@pytest.mark.parametrize("bit", [0.6, 0.8, 1.0, 1.3, 3.0])
def test_feed_keeps_the_chip_load(bit):
    chip_um = feed_mm_min(bit, 20_000) / 1000 / 20_000 * 1e6
    assert chip_um == pytest.approx(min(40 * bit, 50))


# A 118 degree point is (d / 2) / tan(59 degrees) long.
def test_the_tip_goes_through():
    assert TIP_OF == pytest.approx(0.5 / math.tan(math.radians(59)))
    setup = setup_for(QUICK)
    deepest = min(s.z_mm for s in strokes(setup, 0.8, 1.6))
    assert deepest <= setup.surface_z_mm - 1.6 - TIP_OF * 0.8


def test_pecks_go_deeper_by_no_more_than_asked_and_come_up_between():
    setup = setup_for(QUICK, peck_mm=0.7)
    made = strokes(setup, 0.8, 1.6)
    down = [s for s in made if s.feed_mm_min is not None]
    assert made[0].feed_mm_min is None and made[-1] is down[-1]
    depths = [setup.surface_z_mm - s.z_mm for s in down]
    steps = [b - a for a, b in zip([0.0, *depths], depths, strict=False)]
    assert max(steps) <= 0.7 + 1e-9 and len(down) == 4
    up = [s for s in made if s.feed_mm_min is None]
    assert all(setup.surface_z_mm < s.z_mm <= setup.safe_z_mm for s in up)


def test_the_tables_own_z_limits_the_feed():
    setup = setup_for(QUICK, spindle_rpm=200_000.0)
    assert max(s.feed_mm_min or 0 for s in strokes(setup, 3.0, 1.6)) <= 60 * 60.0


def test_sizes_must_be_sizes():
    with pytest.raises(ValueError):
        strokes(setup_for(QUICK), 0.0, 1.6)
