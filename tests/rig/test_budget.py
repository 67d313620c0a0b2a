"""The budget against truth: rigs with drawn errors in each part, a hole put under the axis."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drillaid.geometry import Affine
from drillaid.rig.budget import budget_at, spindle_error_mm, spindle_part_mm
from drillaid.simulation.rigs import nominal_rig

LENS = np.array([0.5, 0.5, 0.4, 0.4, 5e-4, 8e-4, 5e-5, 5e-5, 5e-4])
POSE = np.array([4e-4, 4e-4, 2e-4, 0.02, 0.02, 0.04])
SPINDLE_MM, LEAN, HEIGHT_MM, PAD_MM = 0.012, 0.004, 0.05, 0.02
HEIGHT = 1.6
HOLES = np.array([[x, y] for x in np.arange(0, 51, 5.0) for y in np.arange(0, 36, 5.0)])
RECORDS = {
    "camera": {"sigma": list(LENS)},
    "bench": {"covariance": np.diag(POSE**2).tolist()},
    "spindle": {"covariance": np.diag([SPINDLE_MM**2, LEAN**2]).tolist()},
}


def drawn(seed):
    """(rig as calibrated, true rig): the file's errors are those it records."""
    rng = np.random.default_rng([seed, 7])
    true = nominal_rig(tilt_rad=rng.uniform(0, 0.15), tilt_direction_rad=seed, seed=seed)
    e = rng.normal(0, LENS)
    p = rng.normal(0, POSE)
    rig = replace(
        true,
        matrix=true.matrix + [[e[0], 0, e[2]], [0, e[1], e[3]], [0, 0, 0]],
        distortion=true.distortion + e[4:],
        rotation_vector=true.rotation_vector + p[:3],
        translation_mm=true.translation_mm + p[3:],
        extra=RECORDS,
    )
    # The axis was measured through this rig, at the boards' own height.
    px = true.to_pixels([true.spindle_mm(HEIGHT)], HEIGHT)
    lean = true.lean + rng.normal(0, LEAN, 2)
    axis = rig.to_bench(px, HEIGHT)[0] - lean * HEIGHT + rng.normal(0, SPINDLE_MM, 2)
    axis += (lean - true.lean) * HEIGHT
    return replace(rig, axis_mm=axis, lean=lean), true, rng


def one(seed):
    """(off by the truth, mm; budget) of a hole that guidance calls on the axis."""
    rig, true, rng = drawn(seed)
    hole = HOLES[rng.integers(len(HOLES))]
    turn = rng.uniform(-np.pi, np.pi)
    told = Affine.from_parts(rotation_rad=turn, mirrored=True)
    height = HEIGHT + rng.normal(0, HEIGHT_MM)
    place = Affine(np.column_stack([told.linear, true.spindle_mm(height) - told(hole)[0]]))
    px = true.to_pixels(place(HOLES), height)
    inside = ((px > 0) & (px < [rig.width - 1, rig.height - 1])).all(axis=1)
    seen = rig.to_bench(px[inside], HEIGHT) + rng.normal(0, PAD_MM, (int(inside.sum()), 2))
    columns = np.column_stack([np.ones(len(seen)), HOLES[inside]])
    fit = np.linalg.lstsq(columns, seen, rcond=None)[0]
    stated = np.array([1.0, *hole]) @ fit
    row = np.array([1.0, *hole])
    own = PAD_MM * np.sqrt(2 * row @ np.linalg.inv(columns.T @ columns) @ row)
    off = np.hypot(*(stated - rig.spindle_mm(HEIGHT)))  # the truth: 0
    budget = budget_at(
        rig, Affine(fit[[1, 2, 0]].T), HOLES[inside], hole, HEIGHT,
        registration_mm=float(own), height_sigma_mm=HEIGHT_MM,
    )  # fmt: skip
    return off, budget


def test_the_budget_holds_against_truth():
    drawn_rigs = [one(seed) for seed in range(120)]
    ratio = np.array([off / budget.total_mm for off, budget in drawn_rigs])
    rms = np.sqrt(np.mean([off**2 for off, _ in drawn_rigs]))
    print(f"off {rms:.3f} mm rms, over the budget {np.sqrt(np.mean(ratio**2)):.2f}")
    assert (ratio < 2.5).mean() >= 0.95
    assert 0.6 < np.sqrt(np.mean(ratio**2)) < 1.25


def test_what_limits_is_named_with_advice():
    rig, _, _ = drawn(1)
    place = Affine.from_parts(offset=rig.spindle_mm(HEIGHT))
    budget = budget_at(rig, place, HOLES, (0, 0), HEIGHT, registration_mm=0.5)
    assert budget.limits == "registration" and "registration limits it" in budget.sentence()
    rough = budget_at(rig, place, HOLES, (0, 0), HEIGHT, registration_mm=0.01, height_sigma_mm=9)
    assert rough.limits == "height" and "callipers" in rough.sentence()
    assert rough.total_mm == pytest.approx(np.hypot(0.01, rough.rig_mm))


def test_what_the_file_does_not_say_is_named():
    rig = replace(drawn(1)[0], extra={})
    place = Affine.from_parts(offset=rig.spindle_mm(HEIGHT))
    budget = budget_at(rig, place, HOLES, (0, 0), HEIGHT, registration_mm=0.02)
    assert budget.unknown == ("lens", "bench", "spindle")
    assert "Not known from the rig file: lens, bench, spindle" in budget.sentence()
    assert budget.to_data()["lens_mm"] is None


def test_a_session_counts_axis_and_thickness_where_the_file_says_them():
    rig, _, _ = drawn(2)
    assert spindle_error_mm(replace(rig, extra={}), HEIGHT) == 0.0
    alone = spindle_part_mm(rig, HEIGHT)
    assert alone == pytest.approx(np.sqrt(2 * (SPINDLE_MM**2 + (LEAN * HEIGHT) ** 2)))
    assert spindle_error_mm(rig, HEIGHT) > alone


def test_a_total_is_split_and_told_shortly():
    from drillaid.rig.budget import budget_within

    rig, _, _ = drawn(1)
    place = Affine.from_parts(offset=rig.spindle_mm(HEIGHT))
    known = budget_at(rig, place, HOLES, (0, 0), HEIGHT, registration_mm=0.2)
    split = budget_within(rig, place, HOLES, (0, 0), HEIGHT, known.total_mm)
    assert split.registration_mm == pytest.approx(0.2)
    assert split.total_mm == pytest.approx(known.total_mm)
    assert "board's place" in split.short()
    tight = budget_within(rig, place, HOLES, (0, 0), HEIGHT, 0.0)
    assert tight.registration_mm == 0.0
