from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from drillaid.inspection.chance import chance_of_fit
from drillaid.inspection.cones import can_be_met, least_worst
from drillaid.inspection.fit import Pin, fit_part

ROUND = Pin("round", "round", 0.5)
POST = Pin("0.64 mm square post", "square", 0.64)


def _row(count, pitch=2.54):
    return np.column_stack([np.arange(count) * pitch, np.zeros(count)])


def _chance(centres, sizes, nominal, pin, centre_error, diameter_error, seed=1, **more):
    count = len(nominal)
    return chance_of_fit(
        centres, sizes, nominal, pin, centre_error_mm=np.full(count, centre_error),
        diameter_error_mm=np.full(count, diameter_error), rng=np.random.default_rng(seed), **more,
    )  # fmt: skip


def test_two_pins_by_hand():
    """Two pins 20 mm apart: what counts is the sum of their clearances against one distance.

    Play 0 at best estimate; with the errors in the line of the pins alone mattering,
    2 * play = (r1 + r2) - |distance error|, so P = P(|d| < m) about m = 0.1 mm.
    """
    nominal = _row(2, 20.0)
    chance = _chance(nominal, [0.6, 0.6], nominal, ROUND, 0.1, 0.0, draws=4000)
    # each end errs by 0.1/sqrt(2) along the line: the distance by 0.1, one sigma
    assert chance == pytest.approx(norm.cdf(1) - norm.cdf(-1), abs=0.025)  # 3 sigma of 4000 draws


def test_one_pin_alone_depends_on_the_diameter_only():
    chance = _chance([[0, 0]], [0.52], [[3, 4]], ROUND, 5.0, 0.02, draws=4000)
    assert chance == pytest.approx(norm.cdf(1), abs=0.02)


def test_the_tolerance_of_a_pin_counts_evenly():
    """A wire of 0.5 +- 0.1 mm in a hole of 0.55 mm: three of four are thin enough."""
    wire = Pin("wire", "round", 0.5, tolerance_mm=0.1)
    chance = _chance([[0, 0]], [0.55], [[0, 0]], wire, 0.0, 1e-6, draws=4000)
    assert chance == pytest.approx(0.75, abs=0.025)
    post = Pin("post", "square", 0.5, tolerance_mm=0.1)  # diagonal 0.707 +- 0.141 mm
    hole = 0.55 * 2**0.5
    assert _chance([[0, 0]], [hole], [[0, 0]], post, 0.0, 1e-6, draws=4000,
                   along_rad=0.3) == pytest.approx(0.75, abs=0.025)  # fmt: skip


def test_far_from_the_edge_it_is_certain():
    nominal = _row(8)
    assert _chance(nominal, [1.2] * 8, nominal, POST, 0.02, 0.01, along_rad=0.0) == 1.0
    off = nominal.copy()
    off[3, 1] += 0.6
    assert _chance(off, [1.1] * 8, nominal, POST, 0.02, 0.01, along_rad=0.0) == 0.0


def test_it_is_the_share_of_drawn_boards_that_fit():
    """Against the full solver on boards drawn by another generator."""
    rng = np.random.default_rng(100)
    nominal = np.vstack([_row(4), _row(4) + [0, 7.62]])
    centres = nominal + rng.normal(0, 0.05, nominal.shape)
    sizes = np.full(8, 1.0)
    play = fit_part(centres, sizes, nominal, POST, along_rad=0.0).play_mm
    sizes = sizes - 2 * play + 0.02  # 0.01 mm of play
    fitting = [
        fit_part(
            centres + rng.normal(0, 0.02 / 2**0.5, centres.shape), sizes + rng.normal(0, 0.02, 8),
            nominal, POST, along_rad=0.0,
        ).fits
        for _ in range(80)
    ]  # fmt: skip
    chance = _chance(centres, sizes, nominal, POST, 0.02, 0.02, along_rad=0.0)
    assert chance == pytest.approx(np.mean(fitting), abs=0.18)  # 3 sigma of 80 and 400 draws


def test_leaving_cones_out_at_first_changes_no_answer():
    rng = np.random.default_rng(3)
    blocks = np.zeros((12, 2, 3))
    blocks[:, 0, 0] = blocks[:, 1, 1] = 1
    blocks[:, :, 2] = rng.normal(size=(12, 2))
    offsets = rng.normal(0, 0.1, (80, 12, 2))
    radii = rng.uniform(0.05, 0.4, (80, 12)) + 0.05
    worst = least_worst(blocks, offsets, radii).worst
    clear = np.abs(worst) > 2e-5  # the band in which it may say no
    met = can_be_met(blocks, offsets, radii)
    assert (met == (worst <= 0))[clear].all()
    assert 10 < met.sum() < 70  # both answers occur
