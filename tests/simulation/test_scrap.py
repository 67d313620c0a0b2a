from __future__ import annotations

import numpy as np
import pytest

from drillaid.simulation.conditions import bench_for
from drillaid.simulation.designs import random_design
from drillaid.simulation.scrap import scrap_bench

SIZE = (640, 360)


def test_the_hole_is_under_the_spindle_and_the_rest_is_bare():
    like = bench_for(random_design(1, 20), 1, size=SIZE)
    plain, drilled = (scrap_bench(like, 2, bit_mm=bit) for bit in (None, 1.2))
    assert drilled.rig is like.rig and not drilled.board.copper.any()
    (hole,) = drilled.board.drilled
    assert drilled.truth(hole.at_mm)[0] == pytest.approx(drilled.spindle_mm, abs=1e-9)
    changed = np.abs(plain.render().astype(int) - drilled.render()).max(axis=2) > 40
    v, u = np.nonzero(changed)
    at = drilled.rig.to_pixels(drilled.spindle_mm, drilled.thickness_mm)[0]
    assert len(u) > 8 and [u.mean(), v.mean()] == pytest.approx(at, abs=1.5)


def test_thicker_scrap_is_drilled_where_a_leaning_spindle_meets_its_face():
    like = bench_for(random_design(1, 20), 1, size=SIZE)
    thick = scrap_bench(like, 2, thickness_mm=3.2)
    assert thick.spindle_mm == pytest.approx(like.rig.spindle_mm(3.2))
