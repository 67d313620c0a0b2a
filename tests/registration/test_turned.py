"""Overlaps by way of four placements a transform, held against sums written out one by one."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from drillaid.geometry import Affine
from drillaid.registration.turned import TurnedPattern, reversed_indices, together
from drillaid.vision.contours import EdgeModel

SHAPE, RATIO = (45, 60), 2.0


def model() -> EdgeModel:
    rng = np.random.default_rng(3)
    angle = rng.uniform(0, 2 * np.pi, 40)
    return EdgeModel(rng.uniform(2, 9, (40, 2)), np.column_stack([np.cos(angle), np.sin(angle)]))


def picture() -> np.ndarray:
    return np.random.default_rng(4).normal(0, 1, (*SHAPE, 2)).astype(np.float32)


def summed(field: np.ndarray, edges: EdgeModel, turn: np.ndarray, middle: np.ndarray) -> np.ndarray:
    """The definition: every edge laid on its pixel, its agreement with what is there added up."""
    at = np.rint((edges.xy - middle) @ turn.T * RATIO).astype(int)
    x, y = (edges.normal @ turn.T).T
    total = np.zeros(SHAPE)
    for (du, up), cos, sin in zip(at, x * x - y * y, 2 * x * y, strict=True):
        moved = np.roll(field, (up, -du), axis=(0, 1))  # v runs down
        total += moved[..., 0] * cos + moved[..., 1] * sin
    return total


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("rotation", [0.0, 0.4, 1.9, 3.0])
def test_both_rotations_are_what_the_definition_says(rotation, mirrored):
    field, edges = picture(), model()
    pattern = TurnedPattern(field, edges, RATIO)
    both = pattern.overlaps(rotation, mirrored=mirrored)
    for k, more in enumerate((0.0, np.pi)):
        turn = Affine.from_parts(rotation_rad=rotation + more, mirrored=mirrored).linear
        expected = summed(field, edges, turn, pattern.middle)
        column = [pattern.column_of(c, mirrored=mirrored) for c in range(SHAPE[1])]
        # 40 sums of values about 1 in single precision, through two transforms.
        assert both[k] == pytest.approx(expected[:, column], abs=2e-3)


def test_placements_asked_for_together_share_a_transform(monkeypatch):
    pattern, laid = TurnedPattern(picture(), model(), RATIO), []
    lay = pattern._lay
    monkeypatch.setattr(pattern, "_lay", lambda field, angle: laid.append(angle) or lay(field, angle))
    trials = together((False, True), [0.3, np.pi - 0.3, 0.3 + np.pi, 1.1])
    for of_one in trials:
        for mirrored, rotation in of_one:
            pattern.overlaps(rotation, mirrored=mirrored)
    # 1.1 alone has no mirrored partner at its negative among those asked for.
    assert sorted(laid) == pytest.approx([0.3, 1.1, np.pi - 1.1, np.pi - 0.3])
    asked = sorted((mirrored, round(turn, 6)) for of_one in trials for mirrored, turn in of_one)
    turns = sorted(round(turn, 6) for turn in (0.3, np.pi - 0.3, 1.1))
    assert asked == [(side, turn) for side in (False, True) for turn in turns]


def test_each_thread_has_room_of_its_own():
    pattern = TurnedPattern(picture(), model(), RATIO)
    alone = [pattern.overlaps(turn, mirrored=False).copy() for turn in (0.2, 1.4)]
    with ThreadPoolExecutor(1) as pool:
        mine = pattern.overlaps(0.2, mirrored=False)
        other = pool.submit(pattern.overlaps, 1.4, mirrored=False).result()
        assert np.array_equal(mine, alone[0]) and np.array_equal(other, alone[1])


def test_indices_are_counted_the_other_way_and_wrapped():
    values = np.arange(12).reshape(3, 4)
    assert reversed_indices(values).tolist() == [[0, 3, 2, 1], [8, 11, 10, 9], [4, 7, 6, 5]]
