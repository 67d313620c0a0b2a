"""Which stored marks keep a frame, by drawn places of marks."""

from __future__ import annotations

import numpy as np
import pytest

from calibration.repair import Anchors, merged_marks
from drillaid.rig.mark_finding import SeenMark
from drillaid.rig.still_true import MarkSet, StoredMark
from drillaid.simulation.prints import knocked
from drillaid.simulation.rigs import nominal_rig

RIG = nominal_rig(tilt_rad=0.08, seed=3)
CORNERS = 6.0 * np.array([[-1, 1], [1, 1], [1, -1], [-1, -1]])
MIDDLES = np.array([[-45, 22], [45, 22], [45, -22], [-45, -22], [0, 24.0]])
STORED = MarkSet(0.1, tuple(StoredMark(k + 1, at + CORNERS, 0.005) for k, at in enumerate(MIDDLES)))


def seen(rig, moved=()):
    rng = np.random.default_rng(1)
    out = []
    for mark in STORED.marks:
        at = mark.corners_mm + dict(moved).get(mark.number, (0.0, 0.0))
        out.append(
            SeenMark(mark.number, rig.to_pixels(at, 0.1) + rng.normal(0, 0.05, (4, 2)), 0.05, 1.0)
        )
    return out


@pytest.mark.parametrize("number", [1, 3, 5])
def test_the_mark_that_moved_is_left_out(number):
    now = knocked(RIG, (2, 1, -1), (0.01, 0.02, 0.05))
    anchors = Anchors(STORED, seen(now, {number: (0.5, 0.4)}.items()), RIG)
    assert anchors.reason is None and anchors.strays == (number,)
    off = np.hypot(*(anchors.start.to_bench(now.to_pixels(MIDDLES, 0), 0) - MIDDLES).T)
    assert off.max() < 0.2


def test_all_are_used_where_none_moved():
    anchors = Anchors(STORED, seen(knocked(RIG, (2, 1, -1))), RIG)
    assert anchors.used == (1, 2, 3, 4, 5) and anchors.strays == ()


def test_too_few_and_too_many_moved_are_refused():
    assert "only 2 of the 5" in Anchors(STORED, seen(RIG)[:2], RIG).reason
    moved = {1: (2, 0), 2: (0, 3), 3: (-2, 2)}.items()
    assert "more than one has moved" in Anchors(STORED, seen(RIG, moved), RIG).reason


def test_marks_that_agreed_keep_their_places():
    new = MarkSet(0.1, tuple(StoredMark(n, CORNERS + n, 0.01) for n in (1, 2, 7)))
    merged = merged_marks(STORED, (1,), new)
    assert [mark.number for mark in merged.marks] == [1, 2, 3, 4, 5, 7]
    assert merged.marks[0] is STORED.marks[0] and merged.marks[1] is new.marks[1]
