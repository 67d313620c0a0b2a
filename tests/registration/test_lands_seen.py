"""Each hole's land by itself: of another version of the board, under a hand, drilled already."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.other_version import another_version

from drillaid.guidance.events import RegistrationView
from drillaid.registration.following import Follower
from drillaid.registration.register import register_picture
from drillaid.rig.frame import Frame
from drillaid.simulation.conditions import bench_for, ordinary
from drillaid.simulation.designs import random_design

SMALL = (1280, 720)
SEED = 38  # no pour, which shows little of the lands in it


@pytest.fixture(scope="module")
def bench():
    return bench_for(random_design(SEED, 40), SEED, size=SMALL)


@pytest.fixture(scope="module")
def picture(bench):
    image = bench.render()
    image.setflags(write=False)
    return image


def found(bench, image, design):
    return register_picture(image, design, rig=bench.rig, thickness_mm=bench.thickness_mm)


def missing(got, design) -> set[int]:
    return set(got.placement.holes_without_land)


def test_the_lands_of_another_version_are_told(bench, picture):
    """The oldest trap of all: the files have changed since this board was etched."""
    design = bench.board.design
    xy = design.xy_mm
    moved = np.linalg.norm(xy - xy[len(xy) // 2], axis=1) < 14.0
    version = another_version(design, moved, (1.9, 1.9))
    got = found(bench, picture, version)
    assert got.ok, got.message
    onto = np.array([np.linalg.norm(xy - p, axis=1).min() for p in version.xy_mm])
    # 1.9 mm away a new land may still lie half on old copper; far from all of it none may pass.
    bare = {h.number for h, go, near in zip(version.holes, moved, onto, strict=True) if go and near > 1.5}
    assert len(bare) >= 3
    said = missing(got, version)
    assert len(said & bare) >= 0.6 * len(bare)
    assert said <= {h.number for h, go in zip(version.holes, moved, strict=True) if go}
    assert "no land is to be seen at" in got.message and "another version" in got.message
    # The board's place is right all the same.
    off = np.linalg.norm(got.placement.bench_mm - bench.truth(version.xy_mm), axis=1)
    assert off.max() < 0.06


@pytest.mark.parametrize("seed", [41, 45, 47])
def test_on_its_own_board_no_land_is_missed(seed):
    bench = ordinary(seed)
    design = bench.board.design
    got = found(bench, bench.render(), design)
    assert got.ok and not missing(got, design), got.message
    assert "another version" not in got.message
    assert got.placement.pad_seen.mean() > 0.9


def test_holes_drilled_already_are_no_missing_lands():
    bench = bench_for(random_design(SEED, 40), SEED, size=SMALL)
    design = bench.board.design
    for hole in design.holes[::2]:
        bench.board.drill(hole.xy_mm, hole.drill_mm)
    got = found(bench, bench.render(), design)
    assert got.ok and not missing(got, design), got.message


def covered(picture, px, reach_px: float):
    """Something plain and skin-coloured over part of the picture."""
    v, u = np.mgrid[: picture.shape[0], : picture.shape[1]]
    image = picture.copy()
    image[np.hypot(u - px[0], v - px[1]) < reach_px] = (150, 172, 214)
    return image


def test_what_a_hand_covers_is_missed_until_it_goes(bench, picture):
    design = bench.board.design
    free = found(bench, picture, design)
    assert not missing(free, design)
    under = len(design.holes) // 2
    middle = free.placement.pixels[under]
    image = covered(picture, middle, 75.0)
    got = found(bench, image, design)
    said = missing(got, design)
    assert design.holes[under].number in said
    follower = Follower(design, bench.rig, thickness_mm=bench.thickness_mm)
    follower.start(got, image)
    for _ in range(20):
        still = follower.follow(image)
    assert missing(still, design) == said
    assert still.pads_agreeing == len(design.holes) - len(said)
    for _ in range(8 * (2 + len(said) // 12)):
        now = follower.follow(picture)
        assert now.ok
    assert not missing(now, design)


def test_what_guidance_sees_of_it_are_the_holes_numbers(bench, picture):
    got = found(bench, picture, bench.board.design)
    marked = np.zeros(len(bench.board.design.holes), dtype=bool)
    marked[[0, 4]] = True
    got = replace(got, placement=replace(got.placement, land_missing=marked))
    view = RegistrationView.of(got, Frame(picture, 0, 0.0))
    assert view.land_missing == {1, 5}


def test_another_board_that_is_laid_down_is_looked_at_anew(bench, picture):
    """Its own board goes, one of an older version comes: the follower finds it again by what
    the two have in common."""
    design = bench.board.design
    moved = np.linalg.norm(design.xy_mm - design.xy_mm[len(design.xy_mm) // 2], axis=1) < 14.0
    version = another_version(design, moved, (1.9, 1.9))
    newer = bench_for(version, SEED, size=SMALL)
    image = newer.render()
    got = found(newer, image, version)
    assert got.ok and not missing(got, version), got.message
    follower = Follower(version, newer.rig, thickness_mm=newer.thickness_mm)
    follower.start(got, image)
    follower.lose()
    again = follower.find_again(picture)  # the older board, on the same bench
    assert again.ok and len(missing(again, version)) >= 3


@pytest.mark.parametrize("seed", [5, 12])
def test_with_most_lands_missing_it_is_not_this_board(seed):
    """Tracks and outline are those of the board, its holes are not."""
    design = random_design(seed, 60)
    bench = bench_for(design, seed)
    version = another_version(design, np.ones(len(design.holes), dtype=bool), (1.9, 1.9))
    got = found(bench, bench.render(), version)
    assert got.placement is None, got.message
