"""The spindle axis from drawn holes: its error as stated, the lean, strays."""

from __future__ import annotations

import numpy as np
import pytest

from calibration import spindle_job
from calibration.spindle_axis import HoleSeen, fit_spindle
from drillaid.guidance.spindle_mark import SpindleMark
from drillaid.simulation.rigs import nominal_rig

RIG = nominal_rig(seed=2)


def drawn(rng, axis, lean, thicknesses, wander=0.03, sigma=0.006):
    return [
        HoleSeen(f"{k}.jpg", t, axis + lean * t + rng.normal(0, np.hypot(wander, sigma), 2), sigma)
        for k, t in enumerate(thicknesses)
    ]


@pytest.mark.parametrize("thicknesses", [[1.6] * 6, [1.6] * 5 + [6.0] * 5, [1.6] * 2])
def test_stated_errors_hold_against_drawn_ones(thicknesses):
    rng = np.random.default_rng(8)
    ratio, off = [], []
    for _ in range(400):
        axis, lean = rng.normal(0, 5, 2), rng.normal(0, 0.006 / np.sqrt(2), 2)
        found = fit_spindle(drawn(rng, axis, lean, thicknesses), None)
        for height in (1.6, 3.0):
            said = found.axis_mm + found.lean * height
            off.append(np.hypot(*(said - axis - lean * height)))
            ratio.append(off[-1] / found.sigma_at_mm(height))
    ratio = np.array(ratio)
    print(f"{len(thicknesses)} holes: {np.sqrt(np.mean(np.square(off))):.3f} mm rms, "
          f"{(ratio < 2.5).mean():.1%} within 2.5 sigma")  # fmt: skip
    assert (ratio < 2.5).mean() >= 0.95
    assert 0.7 < np.sqrt(np.mean(ratio**2)) < 1.3


def test_six_holes_reach_what_their_wander_allows():
    """0.03 mm along each axis, six holes: 0.03 sqrt(2/6) = 0.017 mm rms of the distance."""
    rng = np.random.default_rng(3)
    off = [np.hypot(*fit_spindle(drawn(rng, np.zeros(2), np.zeros(2), [1.6] * 6)).axis_mm)
           for _ in range(300)]  # fmt: skip
    assert np.sqrt(np.mean(np.square(off))) == pytest.approx(0.0177, rel=0.12)


def test_the_holes_it_asks_for_bring_the_axis_within_two_hundredths():
    """However much the bit wanders: 19 of 20 axes within 0.02 mm (that figure is asked for)."""
    rng = np.random.default_rng(12)
    for wander in (0.02, 0.03, 0.04):
        off = []
        for _ in range(200):
            holes = drawn(rng, np.zeros(2), np.zeros(2), [1.6] * 6, wander=wander)
            found = fit_spindle(holes)
            while found.more:
                holes += drawn(rng, np.zeros(2), np.zeros(2), [1.6] * found.more, wander=wander)
                found = fit_spindle(holes)
            off.append(np.hypot(*found.axis_mm))
            assert len(holes) < 60
        assert (np.array(off) < 0.02).mean() >= 0.9
    few = fit_spindle(drawn(rng, np.zeros(2), np.zeros(2), [1.6] * 3))
    assert few.more > 3
    assert f"{few.more} more holes would" in spindle_job._told(few)


def test_a_stray_hole_is_told_and_left_out():
    rng = np.random.default_rng(1)
    holes = drawn(rng, np.array([1.0, 2.0]), np.zeros(2), [1.6] * 6, wander=0.02)
    holes[2] = HoleSeen("slipped.jpg", 1.6, np.array([1.5, 2.0]), 0.006)
    found = fit_spindle(holes, RIG)
    assert [hole.name for hole in found.holes if not hole.used] == ["slipped.jpg"]
    assert np.hypot(*(found.axis_mm - [1.0, 2.0])) < 0.05


def test_what_gives_no_answer_says_why():
    rng = np.random.default_rng(1)
    assert "no hole" in fit_spindle([])
    spread = drawn(rng, np.zeros(2), np.zeros(2), [1.6] * 4)
    spread = [
        HoleSeen(h.name, 1.6, h.at_mm + [3.0 * (k > 1), 0], 0.01) for k, h in enumerate(spread)
    ]
    assert "more than a bit can wander" in fit_spindle(spread)
    assert spindle_job.in_pixels([("a", 1.6, RIG), ("b", 3.2, RIG)]).done is False


def test_where_one_picture_shows_several_round_things_the_others_choose(monkeypatch):
    places = {"a": [(400, 300)], "b": [(401, 301), (90, 80)], "c": [(399, 300)]}

    def seen_in(image, near=None):
        here = [p for p in places[image] if near is None or np.hypot(*(p - near)) < 40]
        return SpindleMark(np.array(here[0], float), np.eye(2)) if len(here) == 1 else "several"

    monkeypatch.setattr(spindle_job, "mark_in_scrap", seen_in)
    marks = spindle_job.marks_in([(name, 1.6, name) for name in places])
    np.testing.assert_allclose([mark.px for mark in marks], [(400, 300), (401, 301), (399, 300)])
    places["a"] = places["c"] = [(1, 1), (9, 9)]
    assert spindle_job.marks_in([(name, 1.6, name) for name in places]) == ["several"] * 3
