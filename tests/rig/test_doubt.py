"""What a rig file says of its own errors, and damage in it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drillaid.errors import RigError
from drillaid.geometry import Affine
from drillaid.rig.doubt import RigDoubt
from drillaid.simulation.rigs import nominal_rig

RIG = nominal_rig(tilt_rad=0.08, seed=3)


def test_a_rig_that_says_nothing_has_no_doubt_and_says_so():
    doubt = RigDoubt.of(RIG)
    assert not doubt.known
    assert doubt.sigma_mm(RIG, [[0, 0], [30, 20]], 1.6).tolist() == [0.0, 0.0]


@pytest.mark.parametrize(
    ("section", "key", "value"),
    [
        ("camera", "sigma", [1.0, 2.0]),
        ("camera", "covariance", [[1.0]]),
        ("bench", "covariance", (-np.eye(6)).tolist()),
        ("bench", "covariance", "good"),
        ("bench", "lens_gain", np.zeros((9, 6)).tolist()),
    ],
)
def test_damage_is_named(section, key, value):
    with pytest.raises(RigError, match=rf"{section}\.{key} .*run drillaid calibrate"):
        RigDoubt.of(replace(RIG, extra={section: {key: value}}))


def test_what_board_and_spindle_share_falls_out():
    """A shifted pose moves board and spindle alike; a tilt does not."""
    place = Affine.from_parts(offset=(-20, -15))
    seen = np.array([[x, y] for x in range(0, 45, 5) for y in range(0, 35, 5)], float)

    def variance(pose):
        doubt = RigDoubt(np.zeros((9, 9)), pose, np.zeros((6, 9)), frozenset())
        found = doubt.under_spindle_mm2(RIG, place, seen, place.inverse([RIG.axis_mm]), 1.6)
        return found["bench"][0], doubt.sigma_mm(RIG, [RIG.axis_mm], 1.6)[0] ** 2

    shift = np.zeros((6, 6))
    shift[3, 3] = 0.1**2
    left, whole = variance(shift)
    assert left < 0.02**2 * whole and whole == pytest.approx(0.01, rel=0.1)
    tilt = np.zeros((6, 6))
    tilt[0, 0] = 0.001**2
    left, whole = variance(tilt)
    assert 0.01**2 * whole < left < 0.7 * whole
