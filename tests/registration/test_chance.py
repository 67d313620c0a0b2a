"""The level of chance, all places at once, against the same places one after the other."""

from __future__ import annotations

import numpy as np
import pytest
from support.drawn_copper import board, photograph

from drillaid.geometry import Affine
from drillaid.registration import chance
from drillaid.registration.chance import chance_of
from drillaid.registration.copper import FEW, MANY, copper_edges, judge, some
from drillaid.registration.stretches import whole_stretches
from drillaid.vision.channel import grey_of
from drillaid.vision.eye import Eye

SHAPE, RATIO = (420, 560), 10.0
BOARD = board(3)
MODEL = copper_edges(BOARD.design.copper["bottom"])
HERE = Affine.identity()


def eye_on(view, shape=SHAPE) -> Eye:
    grey = grey_of(photograph(BOARD, view, shape, np.random.default_rng(1)))
    return Eye(grey.image, grey.noise)


def one_by_one(eye, view) -> np.ndarray:
    rng, few = np.random.default_rng(0), whole_stretches(some(MODEL, MANY), FEW)
    shares = []
    for _ in range(chance.PLACES):
        angle, length = rng.uniform(0, 2 * np.pi), rng.uniform(chance.NEAREST_MM, chance.FARTHEST_MM)
        aside = Affine.from_parts(offset=length * np.array([np.cos(angle), np.sin(angle)]))
        got = judge(eye, view, few, HERE @ aside, RATIO, 0.5, reaches=chance.REACHES_MM, telling=False)
        shares.append(chance.LEAST_CHANCE if got is None else got.share)
    return np.array(shares)


@pytest.mark.parametrize(
    ("at", "shape"),
    [((510.3, 384.6), SHAPE), ((640.0, 300.0), SHAPE), ((510.3, 384.6), (330, 340))],
    ids=["whole in view", "partly out of view", "cropped"],
)
def test_all_places_at_once_say_what_one_after_the_other_says(at, shape):
    view = Affine([[-RATIO, 0.6, at[0]], [-0.6, -RATIO, at[1]]])
    eye, shares = eye_on(view, shape), one_by_one(eye_on(view, shape), view)
    expected = np.clip(shares.mean() + shares.std(), chance.LEAST_CHANCE, 0.95)
    assert chance_of(eye, view, MODEL, HERE, RATIO) == pytest.approx(expected, abs=0.003)
    assert chance.LEAST_CHANCE < expected < 0.4


def test_an_even_picture_has_the_least_chance_there_is():
    rng = np.random.default_rng(2)
    eye = Eye(rng.normal(120, 1.0, SHAPE).astype(np.float32), 1.0)
    view = Affine([[-RATIO, 0.6, 510.3], [-0.6, -RATIO, 384.6]])
    assert chance_of(eye, view, MODEL, HERE, RATIO) < 0.15


def test_what_lies_out_of_the_picture_has_the_least_chance_there_is():
    view = Affine([[-RATIO, 0.6, 9000.0], [-0.6, -RATIO, 384.6]])
    eye = eye_on(Affine([[-RATIO, 0.6, 510.3], [-0.6, -RATIO, 384.6]]))
    assert chance_of(eye, view, MODEL, HERE, RATIO) == chance.LEAST_CHANCE


def test_stripes_everywhere_raise_it():
    """Edges of their own at every place: what agrees there says little."""
    stripes = 120 + 60 * np.sign(np.sin(np.arange(SHAPE[1]) * 2 * np.pi / 14.0))
    even = np.broadcast_to(stripes, SHAPE).astype(np.float32)
    rng = np.random.default_rng(2)
    eye = Eye((even + rng.normal(0, 1, SHAPE)).astype(np.float32), 1.0)
    view = Affine([[-RATIO, 0.6, 510.3], [-0.6, -RATIO, 384.6]])
    plain = Eye(rng.normal(120, 1.0, SHAPE).astype(np.float32), 1.0)
    assert chance_of(eye, view, MODEL, HERE, RATIO) > chance_of(plain, view, MODEL, HERE, RATIO) + 0.05
