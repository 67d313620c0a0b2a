"""The three-point example of the least-squares similarity.

S. Umeyama, "Least-squares estimation of transformation parameters between two
point patterns", IEEE PAMI 13(4):376-380, 1991, doi 10.1109/34.88573: points and
results as printed by two public test programs that quote the paper (an image
processing book's "Umeyama-Test", and a robotics repository's "umeyama paper
setup"); recomputed independently to the digits below. The paper was not seen.
"""

from __future__ import annotations

import numpy as np
import pytest

from drillaid.registration.fit import fit_plane, fit_similarity

X = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 2.0]])
Y = np.array([[0.0, 0.0], [-1.0, 0.0], [0.0, 2.0]])


def test_the_best_similarity_without_reflection():
    got = fit_similarity(X, Y)
    scale = got.scale[0]
    assert scale == pytest.approx(0.7211102550927978, abs=1e-12)  # sqrt(13) / 5
    assert got.linear / scale == pytest.approx(
        np.array([[3, 2], [-2, 3]]) / np.sqrt(13), abs=1e-12
    )  # printed 0.832, 0.555
    assert got.offset == pytest.approx([-0.8, 0.4], abs=1e-12)
    residual = Y - got(X)
    assert (residual**2).sum() == pytest.approx(1.6, abs=1e-12)
    assert -residual == pytest.approx(np.array([[-0.8, 0.4], [0.8, 0.0], [0.0, -0.4]]), abs=1e-12)


def test_with_a_reflection_allowed_the_fit_is_exact():
    got = fit_similarity(X, Y, mirrored=True)
    assert got.linear == pytest.approx(np.diag([-1.0, 1.0]), abs=1e-12)
    assert got.offset == pytest.approx([0.0, 0.0], abs=1e-12)


def test_the_general_fit_agrees_where_it_is_the_same_problem():
    fit = fit_plane(X, Y, np.ones(3), "similarity", mirrored=False)
    assert fit.chi2 == pytest.approx(1.6, abs=1e-9)
    assert fit.transform.matrix == pytest.approx(fit_similarity(X, Y).matrix, abs=1e-9)
