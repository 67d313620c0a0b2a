"""Where a design is most easily taken for itself."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from drillaid.registration.near_twins import common_steps, own_mirror_image, twin_moves


def dual_row(pins=14) -> np.ndarray:
    return np.array([[2.54 * k, 7.62 * row] for row in (0, 1) for k in range(pins)])


def test_commonest_steps_both_ways():
    steps = np.array(common_steps(dual_row()))
    assert steps[:2] == pytest.approx(np.array([[-2.54, 0], [2.54, 0]])) or steps[
        :2
    ] == pytest.approx(np.array([[2.54, 0], [-2.54, 0]]))
    assert np.hypot(*steps.T).max() < 12
    assert common_steps(np.array([[0.0, 0.0], [50.0, 0.0]])) == []


def test_a_pattern_with_one_odd_pad_is_laid_on_itself_about_its_own_middle():
    """Two rows alike turned by half a turn, but for a pad at one end: the middle of all holes is
    beside that of the rows. The near-twin must be among the rivals."""
    rows = np.array([(2.54 * i, 7.62 * j) for i in range(10) for j in range(2)])
    holes = np.vstack([rows + [10.3, -4.15], [[10.3 - 3.81, -4.15]]])
    tree = cKDTree(holes)

    def laid_on_holes(move) -> int:
        return int((tree.query(move(holes))[0] < 0.05).sum())

    turned = [move for move in twin_moves(holes) if move.linear[0, 0] < -0.99 and not move.mirrored]
    assert max(laid_on_holes(move) for move in turned) == len(rows)


def test_holes_strewn_about_have_no_near_twins_beyond_the_usual_moves():
    holes = np.random.default_rng(3).uniform(0, 80, (60, 2)).round(2)
    assert len(twin_moves(holes)) == 5 + len(common_steps(holes))


def test_a_row_with_a_few_odd_pads_is_its_own_mirror_image():
    odd = [[41.3, -3.7], [44.9, 12.2], [48.6, 3.1], [52.2, 15.8]]
    assert own_mirror_image(np.vstack([dual_row(), odd]))


def test_holes_strewn_about_are_not_their_own_mirror_image():
    assert not own_mirror_image(np.random.default_rng(3).uniform(0, 80, (60, 2)).round(2))
