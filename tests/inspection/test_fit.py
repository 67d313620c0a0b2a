from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import minimize

from drillaid.inspection.fit import PINS, Pin, default_pin, fit_part

ROUND = Pin("round", "round", 0.5)


def _worst(pose, nominal, centres, clearance):
    middle = nominal.mean(axis=0)
    c, s = math.cos(pose[2]), math.sin(pose[2])
    placed = (nominal - middle) @ np.array([[c, s], [-s, c]]) + middle + pose[:2]
    return (np.hypot(*(placed - centres).T) - clearance).max()


def _brute(nominal, centres, clearance):
    """Shrinking random search: knows nothing of cones or barriers."""
    rng = np.random.default_rng(0)
    best, step = np.zeros(3), np.array([0.3, 0.3, 0.3 / np.ptp(nominal, axis=0).max()])
    value = _worst(best, nominal, centres, clearance)
    for _ in range(45):
        for trial in best + rng.normal(size=(100, 3)) * step:
            new = _worst(trial, nominal, centres, clearance)
            if new < value:
                best, value = trial, new
        step *= 0.75
    polished = minimize(_worst, best, (nominal, centres, clearance), method="Nelder-Mead",
                        options={"xatol": 1e-9, "fatol": 1e-10, "maxiter": 1500})
    return -min(value, polished.fun)


def _row(count, pitch=2.54):
    return np.column_stack([np.arange(count) * pitch, np.zeros(count)])


@pytest.mark.parametrize("seed", range(6))
def test_play_is_that_of_brute_force(seed):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(2, 9))
    nominal = _row(count) if seed % 2 else np.vstack([_row(count), _row(count) + [0, 7.62]])
    centres = nominal + rng.normal(0, 0.12, nominal.shape) + rng.normal(0, 0.5, 2)
    diameters = rng.choice([0.8, 0.9, 1.0, 1.2], len(nominal))
    fit = fit_part(centres, diameters, nominal, ROUND)
    brute = _brute(nominal, centres, (diameters - 0.5) / 2)
    assert fit.play_mm >= brute - 1e-5  # ours is the larger or equal: it is a maximum
    assert fit.play_mm == pytest.approx(brute, abs=2e-3)  # what brute force reaches
    assert fit.fits == (fit.play_mm >= 0)


def test_perfect_holes_leave_the_clearance_whatever_the_pose():
    nominal = np.vstack([_row(8), _row(8) + [0, 7.62]])
    angle = 2.2
    turn = np.array([[math.cos(angle), math.sin(angle)], [-math.sin(angle), math.cos(angle)]])
    fit = fit_part(nominal @ turn + [30, -12], np.full(16, 1.0), nominal, ROUND)
    assert fit.play_mm == pytest.approx(0.25, abs=1e-6)
    assert fit.turn_rad == pytest.approx(angle, abs=1e-6)


def test_one_row_stretched_by_a_known_amount():
    # ends 0.3 apart from nominal in all: each end pin is 0.15 off in the best place
    nominal = _row(2, 20.0)
    fit = fit_part(nominal + [[-0.15, 0], [0.15, 0]], [0.8, 0.8], nominal, ROUND)
    assert fit.play_mm == pytest.approx(0.15 - 0.15, abs=1e-6)
    fit = fit_part(nominal + [[-0.25, 0], [0.25, 0]], [0.8, 0.8], nominal, ROUND)
    assert (fit.fits, fit.play_mm) == (False, pytest.approx(-0.10, abs=1e-6))


def test_a_shrunken_print_fails_the_long_row_and_not_the_short_one():
    # 0.4 % over 39 pitches of 2.54 is 0.396 mm, 0.198 at each end
    pin = PINS[2.54][0]
    for count, fits in ((40, False), (6, True)):
        nominal = _row(count)
        fit = fit_part(nominal * 0.996, np.full(count, 1.1), nominal, pin)
        clearance = (1.1 - 0.64 * math.sqrt(2)) / 2
        assert fit.fits is fits
        assert fit.play_mm == pytest.approx(clearance - 0.004 * 2.54 * (count - 1) / 2, abs=1e-6)


def test_one_pin_moves_freely_within_its_hole():
    fit = fit_part([[3.0, 4.0]], [1.0], [[0.0, 0.0]], ROUND)
    assert fit.play_mm == pytest.approx(0.25, abs=1e-6)
    assert fit.shift_mm == pytest.approx((3.0, 4.0), abs=1e-6)


def test_the_tightest_pin_is_named():
    nominal = _row(5)
    diameters = [1.0, 1.0, 1.0, 0.4, 1.0]  # the fourth hole is too small for the pin
    fit = fit_part(nominal, diameters, nominal, ROUND)
    assert (fit.fits, fit.tightest) == (False, 3)
    assert fit.play_mm == pytest.approx(-0.05, abs=1e-6)


def test_a_square_post_needs_its_diagonal():
    # 0.64 mm square post, diagonal 0.905 mm, hole 1.1 mm: nextpcb.com, second-hand;
    # 0.905097 recomputed
    assert Pin("post", "square", 0.64).round_mm == pytest.approx(0.905097, abs=1e-6)
    assert Pin("post", "square", 0.635).round_mm == pytest.approx(0.898026, abs=1e-6)


def test_default_pins_have_room_in_the_hole_asked_for():
    assert default_pin(2.54, 1.0).name.startswith("0.64")
    assert default_pin(2.54, 0.8).shape == "flat"
    assert default_pin(2.54, 1.0, rows_apart_mm=7.62).shape == "flat"
    assert default_pin(3.3, 0.8).shape == "round"


def test_uneven_lists_are_refused():
    with pytest.raises(ValueError, match="each pin"):
        fit_part([[0, 0]], [1.0, 1.0], [[0, 0]], ROUND)
