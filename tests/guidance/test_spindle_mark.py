"""The spindle's pixel from a hole in scrap: its stated error against where it was drilled."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.slow import slow

from drillaid.guidance.spindle_mark import MOST_WALL_PX, SpindleMark, mark_in_scrap
from drillaid.simulation.conditions import bench_for
from drillaid.simulation.designs import random_design
from drillaid.simulation.rigs import nominal_rig
from drillaid.simulation.scrap import scrap_bench

THICKNESS_MM = 1.6


def seen_as_plane(rig):
    """The rig with its bench on the scrap's upper face, as a makeshift rig has it."""
    up = rig.rotation @ np.array([0.0, 0.0, THICKNESS_MM])
    return replace(rig, translation_mm=rig.translation_mm + up)


@pytest.mark.parametrize("tilt_deg", [slow(4), 25])
def test_stated_errors_hold_although_a_lit_wall_looks_like_the_face(tilt_deg):
    real, stated = [], []
    for seed in range(40, 52):
        rig = nominal_rig(640, 480, 0.08, np.radians(tilt_deg), 1.3 * seed, seed=seed)
        here = scrap_bench(bench_for(random_design(seed, 20), seed, rig=rig), seed, bit_mm=1.2)
        true = rig.to_pixels(here.spindle_mm, here.thickness_mm)[0]
        mark = mark_in_scrap(here.render(), true + [5, -4])
        if isinstance(mark, str):
            continue
        covariance = mark.covariance_seen_by(seen_as_plane(rig), THICKNESS_MM)
        real.append(np.hypot(*(mark.px - true)))
        stated.append(np.sqrt(np.trace(covariance)))
    rms = np.sqrt(np.mean(np.square(real))), np.sqrt(np.mean(np.square(stated)))
    print(f"tilt {tilt_deg}: {len(real)} marks, off {rms[0]:.2f} px rms, stated {rms[1]:.2f}")
    assert len(real) >= 10
    assert rms[0] < 0.45 and rms[0] / rms[1] < 1.25


def test_the_wall_counts_along_the_way_it_is_seen_only():
    rig = seen_as_plane(nominal_rig(1280, 720, 0.08, np.radians(20), 0.0, seed=1))
    mark = SpindleMark(np.array([600.0, 300.0]), np.eye(2) * 0.01)
    upper, lower = (rig.to_pixels(rig.axis_mm, z)[0] for z in (0.0, -THICKNESS_MM))
    along = (lower - upper) / np.hypot(*(lower - upper))
    covariance = mark.covariance_seen_by(rig, THICKNESS_MM)
    across = np.array([-along[1], along[0]])
    assert across @ covariance @ across == pytest.approx(0.01)
    assert along @ covariance @ along == pytest.approx(0.01 + MOST_WALL_PX**2)
