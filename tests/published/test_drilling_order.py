"""Drilling order against proven optima of published drilling problems.

Source: TSPLIB, G. Reinelt, ORSA Journal on Computing 3 (1991) 376-384: the
files' COMMENT lines call each of these a drilling problem; optimum lengths from
Table 1 of the TSPLIB95 manual. Distance EUC_2D: nint(sqrt(dx^2 + dy^2)), closed tour.
"""

from __future__ import annotations

import numpy as np
import pytest
from support.tsplib import DATA, read_problem

from drillaid.guidance.route import route, travel_mm

OPTIMUM = {"d198": 15780, "a280": 2579, "pcb442": 50778, "d657": 48912, "pcb1173": 56892}

pytestmark = pytest.mark.skipif(not DATA.is_dir(), reason="the published problems are not here")


def read_tour(name: str) -> list[int]:
    words = (DATA / f"{name}.opt.tour").read_text().split("TOUR_SECTION")[1].split()
    return [int(w) - 1 for w in words if w.isdigit()]


def euc_2d(xy: np.ndarray, tour) -> int:
    legs = np.diff(xy[[*tour, tour[0]]], axis=0)
    return int(np.floor(np.hypot(*legs.T) + 0.5).sum())


# TSPLIB95 manual, section 2.7: the canonical tour 1, 2, …, n of pcb442 is 221 440 long.
def test_distances_are_those_of_the_manual():
    assert euc_2d(read_problem("pcb442"), range(442)) == 221440


# The optimal tours that come with the files, as long as Table 1 of the manual says.
@pytest.mark.parametrize("name", ["a280", "pcb442"])
def test_published_tours_have_their_published_length(name):
    assert euc_2d(read_problem(name), read_tour(name)) == OPTIMUM[name]


# Optimum: Table 1 of the TSPLIB95 manual.
@pytest.mark.parametrize("name", OPTIMUM)
def test_within_one_percent_of_the_proven_optimum(name):
    xy = read_problem(name)
    tour = route(xy, closed=True, budget_s=0.8)
    assert sorted(tour) == list(range(len(xy)))
    above = 100 * (euc_2d(xy, tour) / OPTIMUM[name] - 1)
    print(f"{name}: {len(xy)} holes, {above:+.3f} % against the optimum")
    assert 0 <= above <= 1.0


# The published optimal tour without its longest leg bounds the shortest open way from above.
@pytest.mark.parametrize("name", ["a280", "pcb442"])
def test_open_way_against_the_published_tour_without_its_longest_leg(name):
    xy = read_problem(name)
    best = read_tour(name)
    legs = np.hypot(*np.diff(xy[[*best, best[0]]], axis=0).T)
    path = route(xy, budget_s=0.8)
    assert travel_mm(xy, path) <= 1.01 * (legs.sum() - legs.max())
