"""Overlaps by way of four placements a transform, held against sums written out one by one."""

from __future__ import annotations

import numpy as np
import pytest

from drillaid.geometry import Affine
from drillaid.registration.turned import TurnedPattern, reversed_indices
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
        # 40 sums of values about 1 in single precision, through two transforms.
        assert both[..., k] == pytest.approx(expected, abs=2e-3)


def test_placements_share_transforms():
    pattern = TurnedPattern(picture(), model(), RATIO)
    for rotation in (0.3, np.pi - 0.3):
        for mirrored in (False, True):
            pattern.overlaps(rotation, mirrored=mirrored)
    assert len(pattern._known) == 2


def test_indices_are_counted_the_other_way_and_wrapped():
    values = np.arange(12).reshape(3, 4)
    assert reversed_indices(values).tolist() == [[0, 3, 2, 1], [8, 11, 10, 9], [4, 7, 6, 5]]
