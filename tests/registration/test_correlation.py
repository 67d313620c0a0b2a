from __future__ import annotations

import numpy as np
import pytest
from support.drawn_copper import board, photograph

from drillaid.geometry import Affine
from drillaid.registration.copper import copper_edges
from drillaid.registration.correlation import Correlator, all_rotations
from drillaid.registration.rims import lands_at_all_sizes
from drillaid.vision.edge_field import edge_field

SHAPE, RATIO = (520, 680), 8.0
# Flat picture px -> plane mm, y up.
TO_PLANE = Affine([[1 / RATIO, 0, -40.0], [0, -1 / RATIO, 30.0]])
BOARD = board(5)
XY = BOARD.design.xy_mm
COPPER = copper_edges(BOARD.design.copper["bottom"])
MIDDLE = np.array(BOARD.size_mm) / 2


def placed(turn_rad: float, mirrored: bool, at=(3.0, -2.0), scale=(1.0, 1.0)) -> Affine:
    turn = Affine.from_parts(rotation_rad=turn_rad, mirrored=mirrored, scale=scale)
    return Affine.from_parts(offset=np.array(at) - turn(MIDDLE)[0]) @ turn


def seen(truth: Affine, *, noise=4.0, etch_mm=0.05, seed=1) -> Correlator:
    image = photograph(
        BOARD, TO_PLANE.inverse @ truth, SHAPE, np.random.default_rng(seed), etch_mm=etch_mm, noise=noise
    )
    return Correlator(edge_field(image, np.full(SHAPE, 255, np.uint8), RATIO), TO_PLANE)


def off_mm(a: Affine, b: Affine) -> float:
    return float(np.sqrt(np.mean(np.sum((a(XY) - b(XY)) ** 2, axis=1))))


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("turn", [0.1, 1.3, 2.9, -2.0])
def test_the_drawn_place_is_the_highest_peak_by_far(turn, mirrored):
    truth = placed(turn, mirrored)
    see = seen(truth)
    peaks = {
        side: see.peaks(COPPER, sides=(side,), px_per_mm=1.0, rotations_rad=all_rotations(3.0), keep=6)
        for side in (False, True)
    }
    best = peaks[mirrored][0]
    assert off_mm(best.placement, truth) < 1.5
    far = [p for p in peaks[mirrored] if off_mm(p.placement, truth) > 4.0]
    assert best.score > 1.5 * max(p.score for p in [*far, peaks[not mirrored][0]])
    exact = see.settled(COPPER, best.placement, turn_deg=1.8, shift_mm=1.2)
    assert off_mm(exact.placement, truth) < 0.15
    assert exact.mirrored == mirrored


def test_where_one_side_is_plain_the_other_is_not_tried():
    see = seen(placed(1.3, False))
    grid = {"px_per_mm": 1.0, "rotations_rad": all_rotations(3.0), "keep": 3}
    both = see.peaks(COPPER, sides=(False, True), **grid)
    assert {p.mirrored for p in both} == {False, True}
    plain = see.peaks(COPPER, sides=(False, True), enough=0.9 * both[0].score, **grid)
    assert [(p.mirrored, p.score) for p in plain] == [(p.mirrored, p.score) for p in both if not p.mirrored]
    # What is up is the side that is asked second: then both are.
    turned = see.peaks(COPPER, sides=(True, False), enough=0.9 * both[0].score, **grid)
    assert len(turned) == len(both) and not turned[0].mirrored


def test_a_stretched_print_settles_too():
    truth = placed(0.6, True, scale=(1.008, 0.994))
    see = seen(truth)
    start = see.peaks(COPPER, sides=(True,), px_per_mm=1.0, rotations_rad=all_rotations(3.0), keep=1)[0]
    exact = see.settled(COPPER, start.placement, turn_deg=1.8, shift_mm=1.2)
    assert off_mm(exact.placement, truth) < 0.15


def test_holes_alone_are_found_by_their_rims():
    truth = placed(2.2, True)
    see = seen(truth)
    model = lands_at_all_sizes(XY, BOARD.design.drill_mm)
    best = see.peaks(model, sides=(True,), px_per_mm=1.5, rotations_rad=all_rotations(2.0), keep=3)[0]
    assert off_mm(best.placement, truth) < 1.2


def test_a_board_partly_out_of_the_picture():
    truth = placed(0.3, True, at=(-36.0, 4.0))
    see = seen(truth)
    assert (TO_PLANE.inverse(truth(XY))[:, 0] < 0).mean() > 0.25
    best = see.peaks(COPPER, sides=(True,), px_per_mm=1.0, rotations_rad=all_rotations(3.0), keep=3)[0]
    assert off_mm(best.placement, truth) < 1.5


def test_agreement_is_high_at_the_place_and_nowhere_else():
    truth = placed(1.0, True)
    see = seen(truth, etch_mm=0.0, noise=2.0)
    aside = [Affine.from_parts(offset=step) @ truth for step in ((2.0, 0.5), (-5.0, 3.0))]
    right, *wrong = see.agreements(COPPER, [truth, *aside])
    assert right > 0.3
    assert max(wrong) < 0.4 * right


def test_a_picture_of_nothing_has_no_outstanding_peak():
    image = np.random.default_rng(3).normal(100, 6, (*SHAPE, 3)).clip(0, 255).astype(np.uint8)
    see = Correlator(edge_field(image, np.full(SHAPE, 255, np.uint8), RATIO), TO_PLANE)
    peaks = see.peaks(COPPER, sides=(True,), px_per_mm=1.0, rotations_rad=all_rotations(3.0), keep=4)
    assert peaks[0].score < 1.3 * peaks[3].score
