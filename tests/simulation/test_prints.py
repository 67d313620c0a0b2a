"""Sheets on the simulated bench, and a camera that is knocked over a bench that stays."""

from __future__ import annotations

import numpy as np
import pytest

from drillaid.simulation.bench import SimulatedBench
from drillaid.simulation.prints import knocked, mark_print, marks_in_corners
from drillaid.simulation.rigs import nominal_rig

RIG = nominal_rig(480, 270, 0.24, tilt_rad=0.05, seed=2)


def test_a_print_lies_where_it_says():
    bench = SimulatedBench(None, RIG, clutter=0, sheet="grey", seed=1)
    empty = bench.render().astype(int)
    bench.lay(mark_print(3, (12.0, -6.0), 0.4))
    v, u = np.nonzero(np.abs(bench.render().astype(int) - empty).max(axis=2) > 40)
    at = RIG.to_bench([[u.mean(), v.mean()]], 0.1)[0]
    assert np.hypot(*(at - [12.0, -6.0])) < 0.6
    bench.lay()
    assert np.abs(bench.render().astype(int) - empty).max() < 40


def test_marks_in_corners_are_in_view():
    for mark in marks_in_corners(RIG, 6, seed=4):
        px = RIG.to_pixels([mark.middle_mm], 0.1)[0]
        assert (px > 20).all() and (px < [459, 249]).all()


def test_a_knock_moves_the_camera_and_nothing_else():
    bench = SimulatedBench(None, RIG, clutter=0, seed=1, prints=marks_in_corners(RIG, seed=1))
    before = bench.render()
    bench.knock(knocked(RIG, (2.0, 1.0, 0.0), (0, 0, 0.01)))
    np.testing.assert_allclose(bench.rig.camera_mm - RIG.camera_mm, [2, 1, 0], atol=1e-9)
    assert np.abs(bench.render().astype(int) - before).mean() > 3
    np.testing.assert_array_equal(bench.spindle_mm, RIG.spindle_mm(bench.thickness_mm))
    bench.knock(RIG)
    assert np.abs(bench.render().astype(int) - before).mean() < 4
    with pytest.raises(ValueError, match="size"):
        bench.knock(nominal_rig(320, 180, 0.3))
