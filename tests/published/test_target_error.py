"""What a fit says about its error at a target, against formulas and worked cases.

J. M. Fitzpatrick, J. B. West, C. R. Maurer, "Predicting error in rigid-body
point-based registration", IEEE Trans. Med. Imaging 17(5):694-702, 1998: in three
dimensions <TRE^2> = <FLE^2> / N (1 + 1/3 sum d_k^2 / f_k^2). We register in the
plane, so its numbers do not apply as they stand; the plane's counterparts are our
own derivation along its lines, <FRE^2> = (1 - p / 2N) <FLE^2> with p fitted
numbers (R. Sibson, 1979, in three dimensions), and the figures were recomputed by
Monte Carlo independently of this program (20000 draws, affine 6000).
"""

from __future__ import annotations

import numpy as np
import pytest

from drillaid.geometry import Affine
from drillaid.registration.fit import PARAMETERS, fit_plane

FIDUCIALS = np.array([[0.0, 0], [100, 0], [100, 80], [0, 80]])
TARGETS = np.array([[50.0, 40], [100, 80], [150, 40], [20, 200]])
SIGMA = 0.05  # per axis: <FLE^2> = 0.005 mm^2
F2 = 4100.0  # mean squared distance of the fiducials from their middle

# model: FRE, TRE at the four targets, mm; formula and Monte Carlo agree to about 1 %.
WORKED = {
    "rigid": (0.05590, [0.03536, 0.04330, 0.05267, 0.07273]),
    "similarity": (0.05000, [0.03536, 0.05000, 0.06557, 0.09659]),
    "affine": (0.03536, [0.03536, 0.06124, 0.07906, 0.14731]),
}


@pytest.mark.parametrize("model", WORKED)
@pytest.mark.parametrize("mirrored", [False, True])
def test_stated_target_errors_are_those_of_the_worked_case(model, mirrored):
    truth = Affine.from_parts(rotation_rad=0.9, offset=(3.0, 4.0), mirrored=mirrored)
    fit = fit_plane(FIDUCIALS, truth(FIDUCIALS), np.full(4, SIGMA), model, mirrored=mirrored)
    assert np.sqrt(fit.variance_at(TARGETS)) == pytest.approx(WORKED[model][1], abs=2e-5)


@pytest.mark.parametrize("model", WORKED)
def test_real_errors_are_those_as_well(model):
    rng = np.random.default_rng(1)
    fre, tre = [], []
    for _ in range(1500):
        seen = FIDUCIALS + rng.normal(0, SIGMA, FIDUCIALS.shape)
        fit = fit_plane(FIDUCIALS, seen, np.full(4, SIGMA), model, mirrored=False)
        fre.append((fit.residual**2).sum(axis=1).mean())
        tre.append(((fit.transform(TARGETS) - TARGETS) ** 2).sum(axis=1))
    # The rms of 1500 draws is good to 1-2 %.
    assert np.sqrt(np.mean(fre)) == pytest.approx(WORKED[model][0], rel=0.05)
    assert np.sqrt(np.mean(tre, axis=0)) == pytest.approx(WORKED[model][1], rel=0.06)


@pytest.mark.parametrize(("model", "share"), [("rigid", 2.0), ("similarity", 1.0)])
def test_the_formula_in_the_plane(model, share):
    """<TRE^2> = <FLE^2> / N (1 + d^2 / (share f^2)), d from the fiducials' middle."""
    fit = fit_plane(FIDUCIALS, FIDUCIALS, np.full(4, SIGMA), model, mirrored=False)
    d2 = ((TARGETS - FIDUCIALS.mean(axis=0)) ** 2).sum(axis=1)
    wanted = 2 * SIGMA**2 / 4 * (1 + d2 / (share * F2))
    assert fit.variance_at(TARGETS) == pytest.approx(wanted, rel=1e-6)


@pytest.mark.parametrize("model", PARAMETERS)
def test_residuals_say_less_than_they_seem_to(model):
    """<FRE^2> = (1 - p / 2N) <FLE^2>: few fiducials fit well whatever they are worth."""
    rng = np.random.default_rng(2)
    points = rng.uniform(0, 100, (8, 2))
    chi2 = []
    for _ in range(600):
        seen = points + rng.normal(0, SIGMA, points.shape)
        chi2.append(fit_plane(points, seen, np.full(8, SIGMA), model, mirrored=False).chi2)
    assert np.mean(chi2) / 16 == pytest.approx(1 - PARAMETERS[model] / 16, rel=0.05)
