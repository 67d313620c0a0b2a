"""The circle fit against an example printed outside this project.

Points: Gander, Golub, Strebel, "Least-squares fitting of circles and ellipses",
BIT 34 (1994) 558-578, doi 10.1007/BF01934268, as quoted in the help text of a
public circle-fitting routine (R. Brown, 2007). The paper's printed results
(geometric 4.7398, 2.9835, 4.7142) are from memory and were recomputed
independently to the digits below (sum of squares 1.2275990782).
"""

from __future__ import annotations

import numpy as np
import pytest

from drillaid.vision.circle import fit_circle

POINTS = np.column_stack([[1, 2, 5, 7, 9, 3], [7, 6, 8, 7, 5, 7]])


def test_six_points_give_the_geometric_circle_of_the_paper():
    circle = fit_circle(POINTS)
    # 1e-5: the minimum is flat, two independent starts agreed to 2e-7
    assert circle.centre == pytest.approx([4.73978243, 2.98353284], abs=1e-5)
    assert circle.radius == pytest.approx(4.71422593, abs=1e-5)
    assert (circle.residuals**2).sum() == pytest.approx(1.2275990782, abs=1e-9)


def test_it_is_not_one_of_the_algebraic_circles():
    # recomputed from the same points: Gander's algebraic fit and Kasa's linear one
    circle = fit_circle(POINTS)
    for centre, radius in (((5.3794, 7.2532), 3.0370), ((4.7423, 3.8351), 4.1088)):
        assert np.hypot(*(circle.centre - centre)) > 0.5
        assert abs(circle.radius - radius) > 0.5
