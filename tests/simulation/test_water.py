"""Water over the simulated board bends rays as water does."""

from __future__ import annotations

import math

import numpy as np
import pytest

from drillaid.simulation.rigs import nominal_rig
from drillaid.simulation.water import Water, WaterSurface, _refracted

SMALL = (480, 270, 0.24)


@pytest.mark.parametrize("angle_deg", [0.0, 30.0, 60.0])
def test_rays_obey_snells_law(angle_deg):
    # W. Snell; n = 1.333 for water (common practice: any table of refraction). sin a = n sin b.
    camera = np.array([0.0, 0.0, 100.0])
    at = np.array([[100 * math.tan(math.radians(angle_deg)), 0.0]])
    below = _refracted(at, np.zeros((1, 2)), camera, 0.0, 10.0)
    inside = math.asin(math.sin(math.radians(angle_deg)) / 1.333)
    assert below[0] == pytest.approx([at[0, 0] + 10 * math.tan(inside), 0.0], abs=1e-9)


def test_a_tilted_surface_shifts_what_lies_below_it():
    # For small slopes s the ground shifts by depth (1 - 1/n) s against the slope.
    camera = np.array([0.0, 0.0, 1e6])
    below = _refracted(np.zeros((1, 2)), np.array([[0.02, 0.0]]), camera, 0.0, 10.0)
    assert below[0, 0] == pytest.approx(10 * (1 - 1 / 1.333) * 0.02, rel=0.02)


def test_calm_clear_water_brings_the_board_nearer_and_changes_nothing_else():
    rig = nominal_rig(*SMALL)
    calm = WaterSurface(Water(ripple_mm=0.0, murk=0.0, glints=0.0, depth_mm=10.0), rig, 1.6)
    rng = np.random.default_rng(1)
    frame = rng.integers(0, 255, (270, 480, 3), dtype=np.uint8)
    frame = np.repeat(np.repeat(frame[::16, ::16], 16, axis=0), 16, axis=1)[:270, :480]
    assert np.abs(calm.draw(frame).mean() - frame.mean()) < 8
    # The apparent depth is depth / n: everything grows about the foot of the camera.
    camera = rig.camera_mm
    height = camera[2] - 1.6
    at = np.array([[20.0, 10.0]])
    seen = rig.to_pixels(at * height / (height - 10 * (1 - 1 / 1.333)), 1.6)[0]
    u, v = np.rint(seen).astype(int)
    assert calm._where[v, u] == pytest.approx(rig.to_pixels(at, 1.6)[0], abs=2.0)


def test_ripples_distort_brighten_and_glint():
    rig = nominal_rig(*SMALL)
    flat = np.full((270, 480, 3), 100, np.uint8)
    seen = WaterSurface(Water(seed=3), rig, 1.6).draw(flat)
    assert seen.std() > 3
    murky = WaterSurface(Water(seed=3, ripple_mm=0.0, glints=0.0, murk=1.0), rig, 1.6).draw(flat)
    assert murky.std(axis=(0, 1)).max() < 1 and murky.mean() > 140
