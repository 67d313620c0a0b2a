"""Each thing that can go wrong gets its own reason. The seeds were not used in setting limits."""

from __future__ import annotations

import json
import os
from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from drillaid.design.read import read_design
from drillaid.registration.reasons import Why, vague, why_not_found
from drillaid.registration.register import register_picture
from drillaid.registration.result import (
    BARE_SIDE,
    BLURRED,
    BURNT_OUT,
    DARK,
    EMPTY,
    NOT_FOUND,
    NOT_SURE,
    OTHER_BOARD,
    REASONS,
    SHAKEN,
    STRETCHED,
    UNDER_WATER,
)
from drillaid.registration.words import refusal_sentence
from drillaid.simulation import mishaps
from drillaid.simulation.conditions import bench_for, without_board
from drillaid.simulation.designs import random_design
from drillaid.simulation.water import Water

SMALL = (1280, 720)
NO_HOLES = np.zeros((0, 2))


def spoilt(how, seed: int):
    return how(seed, bench_for(random_design(seed, 60), seed, size=SMALL))


@pytest.mark.parametrize(
    ("how", "reason"),
    [
        (mishaps.bare_side, BARE_SIDE),
        (mishaps.shaken, SHAKEN),
        (mishaps.dim, DARK),
        (mishaps.dazzled, BURNT_OUT),
    ],
)
@pytest.mark.parametrize("seed", [61, 62])
def test_the_picture_alone_tells(how, reason, seed):
    assert why_not_found(spoilt(how, seed).render(), [], NO_HOLES).reason == reason


@pytest.mark.parametrize("seed", [61, 62])
def test_out_of_focus(seed):
    bench = mishaps.defocused(seed, bench_for(random_design(seed, 60), seed, size=SMALL), 3.5, 6.0)
    assert why_not_found(bench.render(), [], NO_HOLES).reason == BLURRED


@pytest.mark.parametrize("seed", [61, 62, 63])
def test_a_board_and_an_empty_bench_are_told_apart(seed):
    board = bench_for(random_design(seed, 60), seed, size=SMALL).render()
    assert why_not_found(board, [], NO_HOLES).reason == OTHER_BOARD
    assert why_not_found(without_board(seed).render(), [], NO_HOLES).reason == EMPTY


def test_a_board_under_water_is_never_placed_wrongly_and_told():
    bench = spoilt(mishaps.under_water, 64)
    got = register_picture(bench.render(), bench.board.design, rig=bench.rig)
    assert got.status == NOT_FOUND, got.message
    # A calm enough surface only makes the board look too large.
    assert got.reason in (UNDER_WATER, STRETCHED), got.message
    assert "dry" in got.message


def test_waves_are_told_from_the_pattern_that_they_bend():
    bench = bench_for(random_design(66, 60), 66, size=SMALL)
    waves = Water(depth_mm=4.0, ripple_mm=0.25, wave_mm=18.0, murk=0.05, glints=0.0, seed=5)
    wet = mishaps.again(bench, 66, water=waves)
    got = register_picture(wet.render(), bench.board.design, rig=bench.rig)
    assert got.status == NOT_FOUND and got.reason == UNDER_WATER, got.message


def test_a_height_that_is_wrong_by_far_is_refused():
    bench = bench_for(random_design(67, 60), 67, size=SMALL)
    got = register_picture(bench.render(), bench.board.design, rig=bench.rig, thickness_mm=4.8)
    assert got.status == NOT_FOUND and got.reason == STRETCHED, got.message
    assert "thickness" in got.message


@pytest.mark.parametrize(
    ("how", "reason"), [(mishaps.shaken, SHAKEN), (mishaps.defocused, BLURRED)]
)
@pytest.mark.parametrize("seed", [61, 69])
def test_what_is_found_in_a_spoilt_picture_is_not_drilled_by(how, reason, seed):
    bench = spoilt(how, seed)
    got = register_picture(bench.render(), bench.board.design, rig=bench.rig)
    assert got.status == NOT_FOUND and got.reason == reason, got.message


def test_every_reason_has_words_that_say_what_to_do():
    told = [refusal_sentence(NOT_FOUND, None, Why(reason)) for reason in REASONS[:-2]]
    assert len(set(told)) == len(told)
    assert all(len(text) > 50 and text.endswith(".") for text in told)


def test_where_only_the_holes_are_known_the_gerber_is_asked_for():
    def said(reason: str, **how) -> str:
        return refusal_sentence(NOT_FOUND, None, Why(reason), **how)

    for reason in (OTHER_BOARD, NOT_SURE):
        assert "Gerber" in said(reason, holes_only=True) and "Gerber" not in said(reason)
    assert said(DARK, holes_only=True) == said(DARK)  # no file helps there


@pytest.fixture(scope="module")
def photograph(shared_data):
    def read(name: str):
        folder = shared_data / "etched" / name
        return cv2.imread(str(folder / "photo.jpg")), json.loads(
            (folder / "reference.json").read_text()
        )

    return read


@pytest.mark.parametrize("name", ["monokeith", "sinsonte", "dimmer"])
def test_a_real_photograph_out_of_focus(photograph, name):
    image, _ = photograph(name)
    # 5 px in a picture of 1920: far more than lets a board be found.
    soft = cv2.GaussianBlur(image, (0, 0), 5 * max(image.shape) / 1920)
    assert why_not_found(soft, [], NO_HOLES).reason == BLURRED


@pytest.mark.parametrize("name", ["monokeith", "sinsonte", "dimmer"])
def test_a_real_board_seen_for_another_is_a_board(photograph, name):
    image, _ = photograph(name)
    assert why_not_found(image, [], NO_HOLES).reason == OTHER_BOARD


@pytest.mark.parametrize("corner", [(0, 0), (0, 1), (1, 0), (1, 1)])
@pytest.mark.parametrize("name", ["monokeith", "sinsonte"])
def test_a_real_table_beside_the_board_is_no_board(photograph, name, corner):
    image, _ = photograph(name)
    height, width = image.shape[0] // 4, image.shape[1] // 4
    v, u = corner[0] * 3 * height, corner[1] * 3 * width
    assert why_not_found(image[v : v + height, u : u + width], [], NO_HOLES).reason == EMPTY


@pytest.mark.slow
@pytest.mark.skipif(not os.environ.get("DRILLAID_SLOW"), reason="half a minute: DRILLAID_SLOW=1")
def test_anothers_files_against_a_real_photograph(photograph, shared_data):
    image, reference = photograph("monokeith")
    design = read_design(sorted((shared_data / "etched" / "dimmer").glob("*.drl")), face=reference["face"])
    got = register_picture(image, design, face=reference["face"])
    assert got.status == NOT_FOUND and got.reason == OTHER_BOARD, got.message


@pytest.mark.parametrize(
    ("by", "stated_mm", "worst_mm", "calibrated", "is_vague"),
    [
        ("copper", 0.02, 0.05, True, False),
        ("copper", 0.02, 0.06, True, True),  # one corner that nobody should drill
        ("rims", 0.04, 0.05, True, False),
        ("rims", 0.04, 0.09, True, True),  # by less than copper, but drilled by all the same
        ("copper", 0.08, 0.50, False, False),  # without a rig the answer states its own limits
    ],
)
def test_a_hole_that_is_not_known_is_no_place_to_drill(by, stated_mm, worst_mm, calibrated, is_vague):
    holes = np.arange(24.0).reshape(12, 2)
    stated = np.full(12, stated_mm)
    stated[-1] = worst_mm
    scene = SimpleNamespace(scene=SimpleNamespace(calibrated=calibrated))
    known = SimpleNamespace(hypothesis=scene, by=by, variance_mm2=lambda xy: stated**2)
    assert vague(known, holes) is is_vague
