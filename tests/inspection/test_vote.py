"""The vote for round things against discs drawn at known places."""

from __future__ import annotations

import numpy as np
import pytest

from drillaid.inspection.patch import Stack
from drillaid.inspection.vote import vote

SCALE, SIZE = 22.0, 75


def _stack(paint) -> Stack:
    axis = (np.arange(SIZE) - (SIZE - 1) / 2) / SCALE
    x, y = np.meshgrid(axis, axis)
    image = paint(x, y) + np.random.default_rng(0).normal(0, 2, (SIZE, SIZE))
    images = np.repeat(image[None, :, :, None], 3, axis=3).astype(np.float32)
    return Stack(images, np.ones((1, SIZE, SIZE), bool), np.zeros((1, 2)),
                 np.full((1, SIZE, SIZE), 1.0, np.float32), SCALE)  # fmt: skip


def _disc(x, y, at, radius):
    return np.clip((radius - np.hypot(x - at[0], y - at[1])) * SCALE + 0.5, 0, 1)


@pytest.mark.parametrize("tone", [20.0, 230.0])
def test_dark_and_bright_discs_are_found_alike(tone):
    at = (0.21, -0.13)
    stack = _stack(lambda x, y: 120 + (tone - 120) * _disc(x, y, at, 0.42))
    strange = (np.abs(stack.images[..., 0] - 120) > 30).astype(np.float32)
    votes = vote(stack, strange, stack.inside, np.arange(0.36, 0.5, 0.02), [0.6], 2.0)
    # the vote is a start: within a pixel of the photograph
    assert np.hypot(*(votes.xy_mm[0, 0] - at)) < 0.06
    assert votes.radius_mm[0, 0] == pytest.approx(0.42, abs=0.05)


def test_a_half_lit_disc_is_one_disc():
    def paint(x, y):
        return 120 + np.where(x > 0.1, 110, -90) * _disc(x, y, (0.1, 0.0), 0.4)

    stack = _stack(paint)
    strange = (np.abs(stack.images[..., 0] - 120) > 30).astype(np.float32)
    votes = vote(stack, strange, stack.inside, np.arange(0.36, 0.5, 0.02), [0.6], 2.0)
    assert np.hypot(*(votes.xy_mm[0, 0] - [0.1, 0.0])) < 0.06
