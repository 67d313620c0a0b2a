from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.drawn_copper import board, photograph

from drillaid.geometry import Affine
from drillaid.registration.rims import (
    WORTH,
    Rings,
    find_rings,
    rims,
    ring_evidence,
    ring_model,
    usual_radii,
)
from drillaid.vision.channel import grey_of
from drillaid.vision.eye import Eye

SHAPE, RATIO = (560, 760), 15.0
VIEW = Affine([[-RATIO, 0.6, 720.3], [-0.6, -RATIO, 540.6]])


def looked_at(drawn, etch_mm=0.0, seed=1, **look):
    grey = grey_of(photograph(drawn, VIEW, SHAPE, np.random.default_rng(seed), etch_mm=etch_mm, **look))
    return Eye(grey.image, grey.noise)


@pytest.mark.parametrize("etch_mm", [0.0, 0.08])
@pytest.mark.parametrize("bright", [True, False])
def test_lands_are_seen_with_their_size_and_whether_they_are_bright(etch_mm, bright):
    drawn = board(5, tracks=12)
    look = {} if bright else {"copper": (40, 45, 50), "bare": (110, 150, 160)}
    eye = looked_at(drawn, etch_mm, **look)
    got = find_rings(eye, VIEW, drawn.design.xy_mm, drawn.design.drill_mm, RATIO, slack_mm=0.08)
    assert got.polarity == (1.0 if bright else -1.0)
    assert got.in_view.all()
    there = got.share >= 0.5
    assert there.mean() > 0.8
    # Radii are tried 0.09 mm apart and a rim may be 0.08 mm off each.
    assert np.abs(got.radius_mm - (drawn.land_mm - etch_mm))[there].max() < 0.13


def test_holes_show_rims_and_places_beside_them_do_not():
    drawn = board(5, tracks=12)
    eye = looked_at(drawn)
    evidence, _ = ring_evidence(eye, VIEW, drawn.design.xy_mm, drawn.design.drill_mm, RATIO)
    assert evidence.convincing
    assert evidence.chance < 0.15
    beside = drawn.design.xy_mm + [1.7, 0.9]
    wrong, _ = ring_evidence(eye, VIEW, beside, drawn.design.drill_mm, RATIO)
    assert not wrong.convincing


def test_where_scale_and_tilt_are_free_more_is_asked_for():
    """On a photograph 19 of 22 agreed, 21 mm aside, where 3 in 100 do by chance."""
    drawn = board(5, tracks=12)
    eye = looked_at(drawn)
    holes, drill = drawn.design.xy_mm, drawn.design.drill_mm
    freely, _ = ring_evidence(eye, VIEW, holes, drill, RATIO, alike=True)
    by_rig, _ = ring_evidence(eye, VIEW, holes, drill, RATIO)
    aside = {"agreeing": 19, "in_view": 22, "chance": 0.03}
    assert not replace(freely, **aside).convincing
    assert replace(by_rig, **aside).convincing
    assert replace(freely, **aside | {"chance": 0.011}).convincing  # as at the right place


def test_grain_shows_rims_everywhere_and_so_convinces_nobody():
    rng = np.random.default_rng(3)
    noise = rng.normal(120, 25, SHAPE).astype(np.float32)
    drawn = board(5)
    evidence, _ = ring_evidence(
        Eye(noise, 5.0), VIEW, drawn.design.xy_mm, drawn.design.drill_mm, RATIO
    )
    assert not evidence.convincing


def shares_at(radii: np.ndarray, rng) -> np.ndarray:
    """(N, 11) of rims that show at one of 11 radii, and a little elsewhere."""
    share = rng.uniform(0.0, 0.25, (len(radii), 11))
    share[np.arange(len(radii)), radii] = 0.8
    return share


def test_lands_of_one_tool_have_one_size_or_two():
    rng = np.random.default_rng(1)
    tools = np.repeat([0.8, 1.0, 1.3], [12, 12, 2])
    radii = np.concatenate([np.full(12, 3), np.repeat([4, 8], 6), [3, 8]])
    usual = usual_radii(shares_at(radii, rng), tools)
    assert usual[0].nonzero()[0].tolist() == [2, 3, 4]
    assert usual[12].nonzero()[0].tolist() == [3, 4, 5, 7, 8, 9]
    # Of a rare tool, the sizes of all.
    assert usual[24].any() and (usual[24] <= (usual[0] | usual[12])).all()


def test_what_is_taken_for_lands_has_any_size():
    """Of a row of other things most show a rim somewhere, few at one radius."""
    rng = np.random.default_rng(2)
    radii = rng.integers(0, 11, 60)
    share = shares_at(radii, rng)
    usual = usual_radii(share, np.full(60, 1.0))
    assert (share.max(axis=1) >= WORTH).all()
    assert usual.sum(axis=1).max() <= 6  # two sizes, each with the radii beside it
    assert (np.where(usual, share, 0.0).max(axis=1) >= WORTH).mean() < 0.85


def test_only_radii_that_lands_of_the_board_have_are_looked_at():
    drawn = board(5, tracks=12)
    eye = looked_at(drawn)
    ask = eye, VIEW, drawn.design.xy_mm, drawn.design.drill_mm, RATIO
    alike = find_rings(*ask, slack_mm=0.08, alike=True)
    assert alike.usual.sum(axis=1).max() <= 6 and (alike.share >= 0.5).mean() > 0.8
    # What lies beside the holes is looked at by the same radii.
    step = [2.1, 0.4]
    beside = [
        find_rings(eye, VIEW, ask[2] + step, ask[3], RATIO, slack_mm=0.08, usual=usual).share.sum()
        for usual in (None, alike.usual)
    ]
    assert beside[1] < beside[0]


def test_holes_at_which_nothing_shows_are_counted():
    drawn = board(5, tracks=12)
    eye = looked_at(drawn)
    holes, drill = drawn.design.xy_mm, drawn.design.drill_mm
    beside = np.concatenate([holes, [[1.0, 1.0], [1.5, 2.0]]])  # bare laminate at the rim
    drill = np.append(drill, [1.0, 1.0])
    every, _ = ring_evidence(eye, VIEW, holes, drill[:-2], RATIO, alike=True)
    more, _ = ring_evidence(eye, VIEW, beside, drill, RATIO, alike=True)
    assert every.empty == 0 and more.in_view == every.in_view + 2 and more.empty >= 1


def test_only_rims_that_are_there_become_edges():
    seen, usual = np.array([True, True, False]), np.ones((3, 1), bool)
    rings = Rings(np.array([0.9, 0.2, 0.9]), np.ones(3), seen, 1.0, usual)
    model = ring_model(np.array([[0.0, 0.0], [5.0, 0.0], [10.0, 0.0]]), rings)
    assert len(model) > 10
    assert np.hypot(*model.xy.T) == pytest.approx(1.0)


def test_rims_point_inwards():
    holes = np.array([[3.0, 4.0], [10.0, 4.0]])
    model = rims(holes, np.array([0.8, 1.2]))
    for place, radius in zip(holes, (0.8, 1.2), strict=True):
        mine = np.hypot(*(model.xy - place).T) < 2
        away = model.xy[mine] - place
        assert np.hypot(*away.T) == pytest.approx(radius)
        assert (model.normal[mine] * away).sum(axis=1) == pytest.approx(-radius)
    assert len(model) == int(2 * np.pi * 0.8 / 0.3) + int(2 * np.pi * 1.2 / 0.3)
