"""Lands that are missed under a hand, and lands that were never there."""

from __future__ import annotations

import numpy as np
import pytest
from support.other_version import another_version

from drillaid.registration import register
from drillaid.registration.lands_seen import lands_seen
from drillaid.registration.plain_view import in_plain_view
from drillaid.registration.result import NOT_FOUND, REGISTERED
from drillaid.simulation.conditions import bench_for, hard, ordinary
from drillaid.simulation.designs import random_design


def found(bench, image, design):
    return register.register_picture(
        image, design, rig=bench.rig, face=bench.board.face, thickness_mm=bench.thickness_mm
    )


@pytest.fixture
def places(monkeypatch):
    """The placements whose lands were looked at."""
    looked = []
    monkeypatch.setattr(
        register, "lands_seen", lambda best, design: looked.append(best) or lands_seen(best, design)
    )
    return looked


def test_under_something_large_no_land_is_in_plain_view(places):
    bench = bench_for(random_design(61, 120), 61)
    image, xy = bench.render(), bench.board.design.xy_mm
    # A third of the board, from one side.
    px = bench.true_pixels()
    edge = np.quantile(px[:, 0], 0.35)
    image[:, : int(edge)] = (150, 172, 214)
    assert found(bench, image, bench.board.design).status == REGISTERED
    plain = in_plain_view(places[0], xy)
    under, beside = px[:, 0] < edge - 120, px[:, 0] > edge + 120
    assert under.sum() >= 4 and beside.sum() >= 15
    assert plain[under].mean() < 0.3 and plain[beside].mean() > 0.9


def test_where_only_the_land_is_elsewhere_it_is(places):
    bench = bench_for(random_design(38, 40), 38, size=(1280, 720))
    design = bench.board.design
    moved = np.linalg.norm(design.xy_mm - design.xy_mm[20], axis=1) < 14.0
    version = another_version(design, moved, (1.9, 1.9))
    got = found(bench, bench.render(), version)
    assert got.status == REGISTERED
    missed = got.placement.land_missing
    assert missed.sum() >= 3 and in_plain_view(places[0], version.xy_mm)[missed].mean() > 0.8


def test_a_board_of_which_most_lands_are_under_a_hand_is_found(monkeypatch):
    bench = hard(12445)
    image = bench.render()
    got = found(bench, image, bench.board.design)
    assert got.status == REGISTERED, got.message
    off = np.linalg.norm(got.placement.bench_mm - bench.truth(bench.board.design.xy_mm), axis=1)
    assert off.max() < 0.06
    assert got.placement.land_missing.sum() > 10  # and the person is told which
    monkeypatch.setattr(register, "in_plain_view", lambda best, xy: np.ones(len(xy), bool))
    assert found(bench, image, bench.board.design).status == NOT_FOUND


@pytest.mark.parametrize("seed", [60, 64])
def test_a_board_of_another_version_with_all_of_its_lands_moved_is_refused(seed):
    bench = ordinary(seed)
    design = bench.board.design
    moved = np.ones(len(design.holes), bool)  # but the tracks stay
    got = found(bench, bench.render(), another_version(design, moved, (1.9, 1.9)))
    assert got.status == NOT_FOUND, got.message
