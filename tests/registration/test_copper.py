from __future__ import annotations

import numpy as np
import pytest
from support.drawn_copper import board, photograph

from drillaid.geometry import Affine
from drillaid.registration.chance import chance_of
from drillaid.registration.copper import (
    copper_edges,
    judge,
    sharper_eye,
    some,
    unlike_eye,
    visible,
)
from drillaid.registration.stretches import voices
from drillaid.vision.channel import grey_of
from drillaid.vision.contours import EdgeModel
from drillaid.vision.eye import Eye

SHAPE, RATIO = (420, 560), 10.0
BOARD = board(3)
COPPER = BOARD.design.copper["bottom"]
VIEW = Affine([[-RATIO, 0.6, 510.3], [-0.6, -RATIO, 384.6]])
HERE = Affine.identity()


@pytest.fixture(scope="module")
def image():
    return photograph(BOARD, VIEW, SHAPE, np.random.default_rng(1))


@pytest.fixture(scope="module")
def eye(image):
    grey = grey_of(image)
    return Eye(grey.image, grey.noise)


def test_edges_are_worked_out_once_for_each_copper():
    assert copper_edges(COPPER) is copper_edges(COPPER)
    other = board(4).design.copper["bottom"]
    assert copper_edges(other) is not copper_edges(COPPER)
    assert len(copper_edges(COPPER)) > 300


def test_a_draw_is_the_same_each_time():
    model = copper_edges(COPPER)
    few = some(model, 100)
    assert len(few) == 100
    assert np.array_equal(few.xy, some(model, 100).xy)
    assert some(model, 10**6) is model


def test_right_convinces_and_wrong_does_not(image, eye):
    model = copper_edges(COPPER)
    chance = chance_of(eye, VIEW, model, HERE, RATIO)
    assert 0.03 < chance < 0.4
    right = judge(eye, VIEW, model, HERE, RATIO, chance)
    assert right.evidence.convincing
    assert right.evidence.share > 0.85
    middle = np.array(BOARD.size_mm)
    half_turned = Affine([[-1, 0, middle[0]], [0, -1, middle[1]]])
    for wrong in (half_turned, Affine.from_parts(offset=(2.54, 0)), Affine.from_parts(offset=(0, 2.54))):
        judged = judge(eye, VIEW, model, wrong, RATIO, chance)
        assert judged is None or not judged.evidence.convincing


def test_the_mixture_between_copper_and_board_is_the_sharper_one():
    rng = np.random.default_rng(2)
    # As bright as the board; the light wanders far more than the two differ.
    image = photograph(
        BOARD, VIEW, SHAPE, rng, copper=(150, 120, 130), bare=(110, 125, 145), gradient=0.8
    )
    model = copper_edges(COPPER)
    sharp = sharper_eye(image, VIEW, model, HERE)
    got = judge(sharp, VIEW, model, HERE, RATIO, 0.2)
    assert got.evidence.share > 0.8
    assert got.fit.polarity == 1.0  # copper comes out brighter


def test_copper_that_mirrors_light_here_and_shadow_there_shows_as_unlike_bare_board():
    image = photograph(BOARD, VIEW, SHAPE, np.random.default_rng(4), copper=(150, 150, 150),
                       bare=(110, 110, 110), noise=2.0).astype(float)  # fmt: skip
    rows = np.arange(SHAPE[0])
    # Blotches across the board; what is bright in one is as dark in the next.
    side = np.where((rows // 25) % 2, -1.0, 1.0)[:, None, None]
    image = np.clip(110 + side * (image - 110), 0, 255).astype(np.uint8)
    model = copper_edges(COPPER)
    plain = judge(sharper_eye(image, VIEW, model, HERE), VIEW, model, HERE, RATIO, 0.2)
    got = judge(unlike_eye(image, VIEW, model, HERE), VIEW, model, HERE, RATIO, 0.2)
    assert plain is None or plain.evidence.share < 0.7
    assert got.evidence.share > 0.9 and got.fit.polarity == 1.0
    assert np.abs(got.fit.placement.matrix - HERE.matrix).max() < 0.03


def test_out_of_the_picture_nothing_can_be_unlike(image):
    away = Affine.from_parts(offset=(500, 500))
    assert unlike_eye(image, VIEW, copper_edges(COPPER), away) is None


def test_where_no_colours_can_be_taken_plain_grey_serves(image):
    away = Affine.from_parts(offset=(500, 500))
    eye = sharper_eye(image, VIEW, copper_edges(COPPER), away)
    assert eye.grey.shape == SHAPE and eye.noise > 0


def test_only_what_lies_in_the_picture_is_asked(eye):
    model = copper_edges(COPPER)
    assert visible(eye, VIEW, model, HERE).all()
    aside = Affine.from_parts(offset=(25.0, 0))
    seen = visible(eye, VIEW, model, aside)
    px = VIEW(aside(model.xy))
    assert 0.2 < seen.mean() < 0.8
    assert (px[seen, 0] > 2).all() and (px[~seen, 0] < 3).all()
    gone = Affine.from_parts(offset=(500.0, 0))
    assert judge(eye, VIEW, model, gone, RATIO, 0.2) is None


def test_neighbours_are_one_voice():
    model = copper_edges(COPPER)
    twice = EdgeModel(np.repeat(model.xy, 2, axis=0), np.repeat(model.normal, 2, axis=0))
    assert voices(twice) == voices(model)
    far = EdgeModel(np.vstack([model.xy, model.xy + 1000]), np.tile(model.normal, (2, 1)))
    assert voices(far) == pytest.approx(2 * voices(model), rel=0.1)
    # 46 x 32 mm of copper hold some 200 cells of 2.5 mm at the most.
    assert 30 < voices(model) < 130
