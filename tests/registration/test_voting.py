from __future__ import annotations

import numpy as np
import pytest

from drillaid.geometry import Affine
from drillaid.registration.voting import design_direction, propose, quarter_turns

TURNS = np.radians(np.arange(0.0, 360.0, 1.5))


def holes(seed=1, count=60) -> np.ndarray:
    """Places on a 2.54 mm grid of 60 x 45 mm, as boards have them."""
    rng = np.random.default_rng(seed)
    cells = rng.permutation(23 * 17)[:count]
    return np.column_stack([cells % 23, cells // 23]) * 2.54


def sighted(rng, truth: Affine, xy, *, seen=0.8, clutter=150, sigma=0.05, extent=90.0) -> np.ndarray:
    """Most pads in the plane, as many false sightings as asked, in no order."""
    pads = truth(xy[rng.random(len(xy)) < seen])
    unit = np.sqrt(abs(truth.determinant))
    pads = pads + rng.normal(0, sigma * unit, pads.shape)
    middle = truth(xy.mean(axis=0))[0]
    false = middle + rng.uniform(-extent / 2, extent / 2, (clutter, 2)) * unit
    return rng.permutation(np.vstack([pads, false]))


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("turn", [0.0, 0.61, 2.9, -1.4])
def test_the_drawn_place_is_proposed_first(mirrored, turn):
    rng = np.random.default_rng(2)
    xy = holes()
    truth = Affine.from_parts(rotation_rad=turn, offset=(31.0, -12.0), mirrored=mirrored)
    found = propose(
        sighted(rng, truth, xy), xy, mirrored=mirrored, rotations_rad=TURNS, scales=(1.0,)
    )
    best = found[0]
    off = np.linalg.norm(best.placement(xy) - truth(xy), axis=1)
    # Bins of 0.6 mm and 1.5 degrees: half of it at 37 mm from the middle is 0.5 mm more.
    assert np.sqrt(np.mean(off**2)) < 1.0
    assert (best.placement.determinant < 0) == mirrored
    assert best.surprise > 8
    assert best.votes >= 0.5 * len(xy)


def test_the_wrong_hand_gets_far_fewer_votes():
    rng = np.random.default_rng(3)
    xy = holes()
    seen = sighted(rng, Affine.from_parts(rotation_rad=0.5), xy)
    right, wrong = (
        propose(seen, xy, mirrored=m, rotations_rad=TURNS, scales=(1.0,))[0] for m in (False, True)
    )
    assert right.surprise > 1.5 * wrong.surprise


def test_an_unknown_scale_is_found():
    rng = np.random.default_rng(4)
    xy = holes()
    truth = Affine.from_parts(rotation_rad=-2.2, scale=13.4, offset=(400, 700), mirrored=True)
    scales = np.exp(np.arange(np.log(4), np.log(40), 0.025))
    turns = np.array(quarter_turns(-2.2, 0.0))
    found = propose(
        sighted(rng, truth, xy), xy, mirrored=True, rotations_rad=turns, scales=scales
    )
    assert found[0].placement.scale[0] == pytest.approx(13.4, rel=0.02)
    off = np.linalg.norm(found[0].placement(xy) - truth(xy), axis=1)
    assert np.sqrt(np.mean(off**2)) < 1.2 * 13.4


def test_many_false_sightings_and_few_pads():
    rng = np.random.default_rng(5)
    xy = holes(count=100)
    truth = Affine.from_parts(rotation_rad=0.3, offset=(5, 5))
    seen = sighted(rng, truth, xy, seen=0.6, clutter=800)
    found = propose(seen, xy, mirrored=False, rotations_rad=TURNS, scales=(1.0,), keep=24)
    off = [np.sqrt(np.mean(np.sum((c.placement(xy) - truth(xy)) ** 2, axis=1))) for c in found]
    assert min(off) < 1.0
    assert int(np.argmin(off)) < 5


def test_near_twins_stand_beside_the_best():
    """A row repeats itself one pitch further: both places must be among the proposals."""
    xy = np.array([[2.54 * k, 7.62 * row] for row in (0, 1) for k in range(20)])
    found = propose(xy, xy, mirrored=False, rotations_rad=[0.0], scales=(1.0,), each=8)
    shifts = {tuple(np.rint(c.placement(xy[:1])[0] / 2.54).astype(int)) for c in found[:4]}
    assert (0, 0) in shifts and ((1, 0) in shifts or (-1, 0) in shifts)


def test_too_little_is_nothing():
    xy = holes()
    few = xy[:3]
    for seen, model in ((few, xy), (xy, few), (np.zeros((0, 2)), xy)):
        assert propose(seen, model, mirrored=False, rotations_rad=[0.0], scales=(1.0,)) == []


def test_best_first_and_no_more_than_kept():
    rng = np.random.default_rng(6)
    xy = holes()
    found = propose(
        sighted(rng, Affine.identity(), xy), xy, mirrored=False, rotations_rad=TURNS[:40],
        scales=(1.0,), keep=7,
    )  # fmt: skip
    assert len(found) == 7
    assert all(a.surprise >= b.surprise for a, b in zip(found, found[1:], strict=False))


@pytest.mark.parametrize("turn_deg", [0.0, 12.0, 45.0, 80.0])
def test_a_design_has_a_direction(turn_deg):
    turn = np.radians(turn_deg)
    turned = Affine.from_parts(rotation_rad=turn)(holes())
    got = np.degrees(design_direction(turned))
    assert abs((got - turn_deg + 45) % 90 - 45) < 1.0


def test_quarter_turns_lay_one_direction_on_the_other():
    turns = quarter_turns(0.4, 0.1)
    assert len(turns) == 4
    assert np.allclose(np.diff(turns), np.pi / 2)
    assert turns[0] == pytest.approx(0.3)
