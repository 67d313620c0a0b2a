"""What a pad shows, on pads drawn by hand: which traits move, and which stay."""

from __future__ import annotations

import numpy as np
import pytest

from drillaid.inspection.colours import PadColours
from drillaid.inspection.patch import Stack
from drillaid.inspection.posterior import Circles
from drillaid.inspection.rays import BINS, RAYS, WHOLE
from drillaid.inspection.state import Look
from drillaid.inspection.traits import DEPTHS_MM, pad_traits

SCALE, SIZE, LAND_MM = 22.0, 75, 0.9
COPPER, BOARD = np.array([90.0, 120, 180]), np.array([60.0, 110, 90])
BELTS = 2 * (len(DEPTHS_MM) - 1)


def traits(image, copper=COPPER, promise=COPPER) -> np.ndarray:
    axis = (np.arange(SIZE) - (SIZE - 1) / 2) / SCALE
    depth = LAND_MM - np.hypot(*np.meshgrid(axis, axis))
    stack = Stack(image[None].astype(np.float32), np.ones((1, SIZE, SIZE), bool),
                  np.zeros((1, 2)), depth[None].astype(np.float32), SCALE)  # fmt: skip
    colours = PadColours(copper[None], BOARD[None], np.array([4.0]),
                         np.array([np.linalg.norm(copper - BOARD)]), promise[None])  # fmt: skip
    circles = Circles(np.zeros((1, 2)), np.array([0.41]), np.eye(3)[None] * 1e-4,
                      np.array([0.9]), np.array([40.0]))  # fmt: skip
    features = np.zeros((1, RAYS, WHOLE + 5), np.float32)
    odds = np.full((1, RAYS, BINS + 1), -np.log(BINS + 1), np.float32)
    return pad_traits(stack, colours, np.array([0]), 0.4, circles, [Look(0.5, 0.1, 0.9, 1.0)],
                      features, odds, [None])[0]  # fmt: skip


def pad(hole=None, shift_mm=0.0) -> np.ndarray:
    axis = (np.arange(SIZE) - (SIZE - 1) / 2) / SCALE
    x, y = np.meshgrid(axis, axis)
    image = np.where((np.hypot(x - shift_mm, y) < LAND_MM)[..., None], COPPER, BOARD)
    if hole is not None:
        image = np.where((np.hypot(x, y) < 0.41)[..., None], hole, image)
    return image + np.random.default_rng(0).normal(0, 2, image.shape)


def test_the_land_s_edge_shows_where_the_design_has_it_and_under_a_finger_it_does_not():
    belts = traits(pad())[-BELTS - 8 : -8].reshape(-1, 2)
    outside, inside = DEPTHS_MM[1:] < -0.01, DEPTHS_MM[:-1] > 0.01
    assert belts[outside, 1].min() > 0.8 and belts[inside, 1].max() < 0.2
    # a finger of one colour: nothing changes at the land's edge
    finger = np.full((SIZE, SIZE, 3), 100.0)
    belts = traits(finger, copper=np.full(3, 100.0))[-BELTS - 8 : -8].reshape(-1, 2)
    assert np.ptp(belts[:, 1]) < 0.05


def test_the_inside_of_a_hole_differs_and_its_surroundings_do_not():
    plain, bored = traits(pad())[-8:], traits(pad(hole=np.array([30.0, 30, 30])))[-8:]
    assert np.abs(plain[:3]).max() < 0.1 and np.abs(bored[:3]).max() > 0.9
    assert bored[4:7] == pytest.approx(plain[4:7], abs=0.05)


def test_copper_unlike_the_rest_of_the_board_s_is_told():
    at = -BELTS - 8 - 3
    same, other = traits(pad()), traits(pad(), promise=COPPER + [0, 0, 40])
    assert same[at : at + 3] == pytest.approx([0, 0, 0])
    assert other[at + 2] < -0.9
