"""The demo's scenario: the same for the same seed, and what is said to go wrong does."""

from __future__ import annotations

import numpy as np
import pytest

from drillaid.demonstration.scenario import PRINT_SCALE, SIZE_PX, scenario

SMALL = (640, 360)


def test_the_same_seed_gives_the_same_picture_and_another_another():
    first, again, other = (scenario(seed, size=SMALL) for seed in (7, 7, 8))
    assert np.array_equal(first.bench.render(), again.bench.render())
    assert not np.array_equal(first.bench.pose.matrix, other.bench.pose.matrix)


@pytest.mark.parametrize("seed", range(4))
def test_the_board_stays_in_view_with_any_hole_under_the_spindle(seed):
    scene = scenario(seed, size=SMALL)
    bench = scene.bench
    holes = bench.truth(bench.board.design.xy_mm)
    assert bench.in_view(5).all()
    for hole in holes:
        bench.move(*(bench.spindle_mm - bench.truth(bench.board.design.xy_mm)[0]))
        bench.move(*(holes[0] - hole))
        assert bench.in_view().mean() > 0.6


def test_one_pad_is_missing_and_another_hole_goes_astray():
    scene = scenario(7, size=SMALL)
    assert scene.bench.board.lost == {scene.lost}
    assert scene.lost not in scene.slips and len(scene.slips) == 1
    assert scene.bench.truth.scale == pytest.approx(PRINT_SCALE)
    assert SIZE_PX == (1920, 1080)
