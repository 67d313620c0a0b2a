"""Against two motion test reports in the public repository
anderssandstrom/ecmc_bifrost_slits_sat: five targets, five runs each way, mm."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.axis_accuracy import axis_accuracy, from_moments

# slit 11360, axis 1, 2 November 2021: reference positions at 15, 25 … 55 mm
TARGETS = np.array([15.0, 25, 35, 45, 55])[:, None]
UP = np.array([
    (15.00067, 15.00169, 15.0021, 15.00393, 15.00332),
    (24.99964, 24.99964, 24.99862, 25.00005, 24.99924),
    (35.00025, 34.99291, 34.99719, 34.99964, 34.99536),
    (44.9978, 44.99943, 44.9982, 44.99881, 44.99657),
    (55.00289, 55.00085, 55.00717, 55.00819, 55.00044),
]) - TARGETS  # fmt: skip
DOWN = np.array([
    (15.00475, 15.00475, 15.00495, 15.00638, 15.00679),
    (24.9974, 24.99842, 24.9974, 24.99822, 24.99862),
    (34.98965, 34.9925, 34.99332, 34.99413, 34.99332),
    (44.9978, 44.99841, 44.99881, 44.99841, 45.00024),
    (55.00268, 55.00289, 55.00696, 55.00574, 55.00289),
]) - TARGETS  # fmt: skip
PRINTED = 1.1e-5  # the reports print five decimals, of readings rounded alike


def test_from_all_readings_of_one_axis():
    found = axis_accuracy(UP, DOWN)
    assert found.reversal_mm == pytest.approx(0.00449, abs=PRINTED)
    assert found.mean_reversal_mm == pytest.approx(0.00037, abs=PRINTED)
    assert found.at_target_mm == pytest.approx(
        [0.00775, 0.00366, 0.01404, 0.00457, 0.01434], abs=2 * PRINTED
    )
    assert found.repeatability_up_mm == pytest.approx(0.01434, abs=PRINTED)
    assert found.repeatability_down_mm == pytest.approx(0.00794, abs=PRINTED)
    assert found.repeatability_mm == pytest.approx(0.01434, abs=PRINTED)
    assert found.accuracy_up_mm == pytest.approx(0.02008, abs=PRINTED)
    assert found.accuracy_down_mm == pytest.approx(0.0191, abs=PRINTED)
    assert found.accuracy_mm == pytest.approx(0.02197, abs=2 * PRINTED)
    assert found.mean_systematic_mm == pytest.approx(0.00924, abs=PRINTED)
    # The report prints E = 0.00845 both ways. By the formula it is the range of all means,
    # 0.00552 + 0.00742 = 0.01294, which the report has as that of the way back alone.
    assert found.systematic_mm == pytest.approx(0.01294, abs=PRINTED)


def test_from_means_and_deviations_of_another_axis():
    """Slit 11358, axis 1, 3 November 2021; the report's means and deviations."""
    found = from_moments(
        [0.00225, 0.00039, 0.00208, -0.00902, 0.00603],
        [0.00067, 0.00046, 0.00188, 0.00098, 0.00052],
        [0.00420, -0.00417, -0.00085, -0.00788, 0.00697],
        [0.00097, 0.00039, 0.00083, 0.00054, 0.00031],
    )
    rounding = 4e-5  # deviations of two figures, four times over
    assert found.reversal_mm == pytest.approx(0.00456, abs=rounding)
    assert found.mean_reversal_mm == pytest.approx(0.00069, abs=rounding)
    assert found.repeatability_up_mm == pytest.approx(0.00750, abs=rounding)
    assert found.repeatability_down_mm == pytest.approx(0.00388, abs=rounding)
    assert found.at_target_mm == pytest.approx(
        [0.00524, 0.00628, 0.00835, 0.00419, 0.00259], abs=rounding
    )
    assert found.accuracy_up_mm == pytest.approx(0.01806, abs=rounding)
    assert found.accuracy_down_mm == pytest.approx(0.01655, abs=rounding)
    assert found.accuracy_mm == pytest.approx(0.01858, abs=rounding)
    assert found.mean_systematic_mm == pytest.approx(0.01495, abs=rounding)
    # The report prints R = 0.0075, the larger of the two one-way figures, and
    # E = 0.01485, that of one way. By the formulas they are 0.00835 and 0.01599.
    assert found.repeatability_mm == pytest.approx(0.008354, abs=rounding)
    assert found.systematic_mm == pytest.approx(0.015988, abs=rounding)


def test_a_table_with_known_backlash():
    rng = np.random.default_rng(1)
    up = rng.normal(0.075, 0.004, (5, 30))
    down = rng.normal(-0.075, 0.004, (5, 30))
    found = axis_accuracy(up, down)
    assert found.mean_reversal_mm == pytest.approx(0.15, abs=0.002)
    assert found.repeatability_mm == pytest.approx(0.15 + 16e-3, abs=0.008)


@pytest.mark.parametrize(
    ("up", "down"),
    [
        ([[0.1, 0.2]], [[0.1, 0.2], [0.1, 0.2]]),
        ([[0.1], [0.2]], [[0.1], [0.2]]),
        ([], []),
        ([[0.1, np.nan]], [[0.1, 0.2]]),
    ],
)
def test_tables_that_are_none_are_refused(up, down):
    with pytest.raises(ValueError):
        axis_accuracy(up, down)
