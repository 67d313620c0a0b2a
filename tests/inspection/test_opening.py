from __future__ import annotations

import itertools

import numpy as np
import pytest

from drillaid.inspection.fit import Pin, fit_part
from drillaid.inspection.opening import Holes, fewest_openings

POST = Pin("0.64 mm square post", "square", 0.64)
ROUND = Pin("round", "round", 0.8)


def _row(count, pitch=2.54):
    return np.column_stack([np.arange(count) * pitch, np.zeros(count)])


def _exhaustive(holes: Holes, margin=0.0):
    """(holes opened, widening) of the best of all choices whatever; None if none works."""
    best = None
    ways = [[float(d), *bits] for d, bits in zip(holes.diameters_mm, holes.options, strict=True)]
    for sizes in itertools.product(*ways):
        sizes = np.array(sizes)
        wider = sizes - holes.diameters_mm
        cost = (int((wider > 0).sum()), float(wider.sum()))
        if (best is None or cost < best) and holes.play_mm(sizes) >= margin:
            best = cost
    return best


@pytest.mark.parametrize("seed", range(4))
def test_no_choice_of_all_is_smaller(seed):
    rng = np.random.default_rng(seed)
    count = 4 if seed % 2 else 3
    nominal = _row(count)
    options = [(1.1, 1.3) if rng.random() < 0.8 else () for _ in range(count)]
    holes = Holes(
        nominal + rng.normal(0, 0.13, nominal.shape), np.full(count, 1.0), nominal,
        POST if seed < 2 else ROUND, 0.0, options,
    )  # fmt: skip
    best = _exhaustive(holes, 0.005)
    found = fewest_openings(holes, 0.005)
    if best is None:
        assert found is None
        return
    wider = found.diameters_mm - holes.diameters_mm
    assert found.smallest
    assert int((wider > 0).sum()) == best[0]
    assert wider.sum() == pytest.approx(best[1])


def test_one_wandered_hole_is_opened_and_no_other():
    nominal = _row(6)
    centres = nominal.copy()
    centres[2, 1] += 0.29
    holes = Holes(centres, np.full(6, 1.0), nominal, ROUND, None, [(1.1, 1.2, 1.5, 2.0)] * 6)
    found = fewest_openings(holes)
    # 0.29 mm against 0.1 of clearance all round: the row gives way by 0.1, 0.19 are left for
    # the hole, so r - 0.4 >= 0.19 and 1.2 mm just does
    assert found.diameters_mm == pytest.approx([1.0, 1.0, 1.2, 1.0, 1.0, 1.0])


def test_where_nothing_helps_there_is_nothing():
    nominal = _row(5)
    centres = nominal.copy()
    centres[2, 1] += 0.9
    holes = Holes(centres, np.full(5, 1.0), nominal, ROUND, None, [(1.1, 1.2)] * 5)
    assert fewest_openings(holes) is None


def test_a_part_that_goes_in_needs_nothing():
    holes = Holes(_row(3), np.full(3, 1.0), _row(3), ROUND, None, [(1.2,)] * 3)
    assert fewest_openings(holes).diameters_mm == pytest.approx([1.0] * 3)


def test_a_shrunken_row_gets_one_bit_for_all_that_need_it():
    nominal = _row(30)
    holes = Holes(nominal * 0.993, np.full(30, 1.1), nominal, POST, 0.0, [(1.2, 1.3, 1.5)] * 30)
    assert holes.play_mm(np.full(30, 1.3)) < 0 < holes.play_mm(np.full(30, 1.5))
    found = fewest_openings(holes)
    assert not found.smallest
    assert set(found.diameters_mm) == {1.1, 1.5}  # the least one bit that does
    assert holes.play_mm(found.diameters_mm) >= 0
    opened = np.flatnonzero(found.diameters_mm > 1.1)
    for i in opened[:: max(1, len(opened) // 4)]:  # none could be left out
        fewer = found.diameters_mm.copy()
        fewer[i] = 1.1
        assert fit_part(holes.centres_mm, fewer, nominal, POST, along_rad=0.0).play_mm < 0
