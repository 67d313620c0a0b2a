from __future__ import annotations

import numpy as np
import pytest

from ui.running.workshop import BARE, SCRAP, SHEET_HELD, SHEET_LYING, Workshop


@pytest.fixture(scope="module")
def workshop():
    return Workshop(5, (480, 270))


def test_one_camera_stands_behind_all_of_it(workshop):
    held = workshop.camera(SHEET_HELD)
    assert held.rig.matrix == pytest.approx(workshop.rig.matrix)
    assert held.rig.distortion == pytest.approx(workshop.rig.distortion)
    for scene in (SHEET_LYING, BARE, SCRAP):
        assert workshop.camera(scene).bench.rig is workshop.rig


def test_each_scrap_has_one_hole_about_the_axis(workshop):
    off = []
    for thickness in (1.6, 1.6, 3.2):
        workshop.drill_scrap()
        bench = workshop.camera(SCRAP, thickness).bench
        (hole,) = bench.board.drilled
        at = bench.truth(np.array([hole.at_mm]))[0]
        off.append(at - workshop.rig.spindle_mm(thickness))
    assert 0 < np.hypot(*np.transpose(off)).max() < 0.15  # the bit wanders by 0.03 along an axis
    assert len({tuple(o) for o in off}) == 3


def test_a_knock_moves_the_camera_and_the_next_one_puts_it_back(workshop):
    bench = workshop.camera(BARE).bench
    workshop.knock()
    assert np.abs(bench.rig.camera_mm - workshop.rig.camera_mm).max() > 0.5
    workshop.knock()
    assert bench.rig is workshop.rig
