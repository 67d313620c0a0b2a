"""Holes measured on boards drawn exactly (tests/support/drawn_board.py), and on simulated ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.drawn_board import DrawnHole, design, draw, placement, rig

from drillaid.inspection.measure import measure_holes


def _random_holes(board, rng, share=0.75, sigma=0.12):
    kinds = rng.choice(["drilled", "mark", "plain"], len(board.holes), p=[share, *[(1 - share) / 2] * 2])
    return [
        DrawnHole(tuple(rng.normal(0, sigma, 2)), float(rng.uniform(0.98, 1.08)), kind)
        for kind in kinds
    ]


def _errors(found, drawn):
    pairs = [
        (f, d) for f, d in zip(found, drawn, strict=True) if f.state == d.state == "drilled"
    ]
    off = np.array([np.subtract(f.off_mm, d.off_mm) for f, d in pairs])
    size = np.array([f.diameter_mm - d.diameter_mm for f, d in pairs])
    return np.hypot(off[:, 0], off[:, 1]), size, [f for f, _ in pairs]


def _measured(tilt_deg: float):
    rng = np.random.default_rng(4)
    camera, board = rig(0.06, 300, tilt_deg), design()
    lie = placement(board, camera)
    drawn = _random_holes(board, rng)
    return measure_holes(draw(board, drawn, camera, lie.matrix, rng), board, lie, camera), drawn


@pytest.mark.parametrize("tilt_deg", [0.0, 8.0])
def test_states_and_places_at_six_hundredths_of_a_millimetre_a_pixel(tilt_deg):
    found, drawn = _measured(tilt_deg)
    for f, d in zip(found, drawn, strict=True):
        assert f.state == ("drilled" if d.state == "drilled" else "undrilled"), (f, d)
    off, _, measured = _errors(found, drawn)
    # 95 % of centres within half a pixel: 0.03 mm. These boards are drawn apart from the bench
    # whose rims the network learnt from.
    assert np.quantile(off, 0.95) < 0.03
    stated = np.sqrt(np.mean([f.centre_error_mm**2 for f in measured]))
    real = np.sqrt((off**2).mean())
    # within a factor of 2.5: what no simulated bench shows is not in the stated error; on
    # simulated benches the two agree (tests/benchmarks/bench_inspection.py)
    assert 0.4 < stated / real < 2.5


@pytest.mark.parametrize("tilt_deg", [0.0, 8.0])
def test_diameters_within_half_a_pixel(tilt_deg):
    _, size, _ = _errors(*_measured(tilt_deg))
    assert np.quantile(np.abs(size), 0.95) < 0.03


def _with_another_bit(diameter_mm: float):
    """(findings, holes as drawn): two of three by that bit, 1 mm asked for."""
    rng = np.random.default_rng(8)
    camera, board = rig(0.06, 300), design()
    lie = placement(board, camera)
    drawn = [
        DrawnHole(tuple(rng.normal(0, 0.05, 2)), diameter_mm if k % 3 else 1.02, "drilled")
        for k in range(len(board.holes))
    ]
    found = measure_holes(draw(board, drawn, camera, lie.matrix, rng), board, lie, camera)
    return found, drawn


def _sizes(found) -> np.ndarray:
    return np.array([f.diameter_mm for k, f in enumerate(found) if k % 3 and f.state == "drilled"])


OWED = pytest.mark.xfail(reason="owed: told 0.025 mm too wide", strict=True)


@pytest.mark.parametrize("diameter_mm", [0.8, 0.9, pytest.param(1.15, marks=OWED), 1.3])
def test_holes_that_another_bit_made_are_told_without_bias(diameter_mm):
    size = _sizes(_with_another_bit(diameter_mm)[0])
    assert abs(np.median(size) - diameter_mm) < 0.02


@pytest.mark.parametrize("diameter_mm", [0.8, 0.9, 1.15, 1.3])
def test_holes_that_another_bit_made_are_seen_and_as_wide_as_they_are(diameter_mm):
    found, drawn = _with_another_bit(diameter_mm)
    other = [(f, d) for k, (f, d) in enumerate(zip(found, drawn, strict=True)) if k % 3]
    assert np.mean([f.state == "drilled" for f, _ in other]) >= 0.95
    told = [f for f, _ in other if f.state == "drilled"]
    size = _sizes(found)
    assert np.quantile(np.abs(size - diameter_mm), 0.9) < 0.06
    said = np.mean([f.reason.startswith("another bit") for f in told])
    assert said > 0.9
    usual = [f for k, f in enumerate(found) if k % 3 == 0 and f.state == "drilled"]
    assert not any(f.reason for f in usual)


def test_a_wall_in_sight_does_not_pull_the_centre():
    # 20 degrees: the wall hides half a hole; all holes would move one way
    rng = np.random.default_rng(9)
    camera, board = rig(0.06, 300, 20.0), design(4, 3)
    lie = placement(board, camera)
    drawn = [DrawnHole((0.0, 0.0), 1.0)] * len(board.holes)
    found = measure_holes(draw(board, drawn, camera, lie.matrix, rng), board, lie, camera)
    assert all(f.state == "drilled" for f in found)
    mean = np.mean([f.off_mm for f in found], axis=0)
    assert np.abs(mean).max() < 0.015


def test_offsets_are_in_design_axes_and_centres_on_the_bench():
    rng = np.random.default_rng(2)
    camera, board = rig(0.06, 220), design(4, 3)
    lie = placement(board, camera, turn_deg=90.0)
    drawn = [DrawnHole((0.3, 0.1))] * len(board.holes)
    found = measure_holes(draw(board, drawn, camera, lie.matrix, rng), board, lie, camera)
    for f, hole in zip(found, board.holes, strict=True):
        assert f.off_mm == pytest.approx((0.3, 0.1), abs=0.035)
        assert f.distance_mm == pytest.approx(np.hypot(*f.off_mm))
        truth = lie.matrix(np.add(hole.xy_mm, (0.3, 0.1)))[0]
        assert f.centre_mm == pytest.approx(truth, abs=0.035)
        assert f.pixel == pytest.approx(camera.to_pixels([truth], 1.6)[0], abs=0.6)
        # ring by hand: land 1.7, hole 1.0, offset sqrt(0.1): 0.85 - 0.5 - 0.316
        assert f.ring_mm == pytest.approx(0.85 - 0.5 - 0.1**0.5, abs=0.045)
        assert f.breakout_deg == 0


def test_a_wandered_hole_breaks_out_and_by_how_much():
    rng = np.random.default_rng(3)
    camera, board = rig(0.06, 220), design(4, 3)
    lie = placement(board, camera)
    drawn = [DrawnHole((0.0, -0.5), 1.0)] * len(board.holes)
    found = measure_holes(draw(board, drawn, camera, lie.matrix, rng), board, lie, camera)
    # own geometry: 2 acos((A² - e² - h²) / (2 e h)), A 0.85, h 0.5, e 0.5
    wanted = np.degrees(2 * np.arccos((0.85**2 - 0.5) / 0.5))
    measured = [f for f in found if f.state == "drilled"]
    assert len(measured) >= 0.9 * len(found)
    assert np.mean([f.breakout_deg for f in measured]) == pytest.approx(wanted, abs=8)
    assert np.mean([f.ring_mm for f in measured]) == pytest.approx(-0.15, abs=0.02)


def test_what_is_covered_or_outside_is_hidden_with_a_reason():
    rng = np.random.default_rng(5)
    camera, board = rig(0.06, 220), design(4, 3)
    lie = placement(board, camera)
    drawn = [DrawnHole()] * len(board.holes)
    u, v = lie.pixels[7]
    picture = draw(board, drawn, camera, lie.matrix, rng, cover=(u, v, 30))
    found = measure_holes(picture, board, lie, camera)
    assert found[7].state == "hidden"
    assert found[7].reason
    assert found[7].off_mm is None
    far = placement(board, camera, nudge=(500, 0))
    found = measure_holes(picture, board, far, camera)
    assert {f.state for f in found} == {"hidden"}
    assert "outside" in found[0].reason


def test_without_a_rig_offsets_are_design_millimetres():
    rng = np.random.default_rng(6)
    camera, board = rig(0.06, 220), design(4, 3)
    lie = placement(board, camera)
    drawn = [DrawnHole((0.1, 0.2))] * len(board.holes)
    picture = draw(board, drawn, camera, lie.matrix, rng)
    found = measure_holes(picture, board, lie, None)
    assert all(f.state == "drilled" and f.centre_mm is None for f in found)
    # the wall in sight is not known without a rig: up to 0.07 mm of it here
    assert np.mean([f.off_mm for f in found], axis=0) == pytest.approx([0.1, 0.2], abs=0.02)


def test_a_wrong_picture_or_list_of_bits_is_refused():
    camera, board = rig(), design()
    lie = placement(board, camera)
    with pytest.raises(ValueError, match="shape"):
        measure_holes(np.zeros((10, 10), np.uint8), board, lie, camera)
    with pytest.raises(ValueError, match="bit"):
        measure_holes(np.zeros((10, 10, 3), np.uint8), board, lie, camera, bits_mm=[1.0])


def test_a_hole_whose_land_came_off_is_seen_in_the_bare_board():
    rng = np.random.default_rng(6)
    camera, board = rig(0.06, 240), design(4, 3)
    lie = placement(board, camera)
    off = replace(board.lands[5], size_mm=(0.01, 0.01))
    lands = tuple(off if k == 5 else land for k, land in enumerate(board.lands))
    drawn = [DrawnHole((0.03, -0.02), 1.02, "drilled")] * len(board.holes)
    picture = draw(replace(board, lands=lands), drawn, camera, lie.matrix, rng)
    found = measure_holes(picture, board, lie, camera)
    assert [f.state for f in found] == ["drilled"] * len(board.holes)
    assert abs(found[5].diameter_mm - 1.02) < 0.06
