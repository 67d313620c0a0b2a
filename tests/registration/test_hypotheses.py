from __future__ import annotations

import numpy as np
import pytest

from drillaid.geometry import Affine
from drillaid.registration.growing import Grown
from drillaid.registration.hypotheses import (
    Hypothesis,
    Scene,
    borne_out,
    hypotheses,
    pointed_out,
    same_place,
    twins,
)
from drillaid.simulation.rigs import nominal_rig
from drillaid.vision.plane import FreePlane

VIEW = FreePlane(nominal_rig().plane(1.6), (1920, 1080))


def grid_holes(seed=1, count=60) -> np.ndarray:
    rng = np.random.default_rng(seed)
    cells = rng.permutation(23 * 17)[:count]
    return np.column_stack([cells % 23, cells // 23]) * 2.54


def scene_of(rng, truth: Affine, xy, *, direction=None, seen=0.7, clutter=250) -> Scene:
    """Pads and false sightings on the bench, mm; pads no surer than the rest."""
    pads = truth(xy[rng.random(len(xy)) < seen])
    pads = pads + rng.normal(0, 0.05, pads.shape)
    points = np.vstack([pads, rng.uniform([-55, -30], [55, 30], (clutter, 2))])
    points = rng.permutation(points)
    turn = truth.rotation_rad if direction is None else direction
    return Scene(
        VIEW, points, np.full(len(points), 0.8), np.ones(len(points)), (turn,), 0.12, False
    )


def off_mm(a, b, xy) -> float:
    return float(np.sqrt(np.mean(np.sum((a(xy) - b(xy)) ** 2, axis=1))))


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("turn", [0.2, 2.5])
def test_the_place_is_found_among_clutter(mirrored, turn):
    rng = np.random.default_rng(2)
    xy = grid_holes()
    truth = Affine.from_parts(rotation_rad=turn, offset=(0, 0), mirrored=mirrored)
    truth = Affine.from_parts(offset=-truth(xy.mean(axis=0))[0]) @ truth
    scene = scene_of(rng, truth, xy)
    found = hypotheses(scene, xy, mirrored=mirrored)
    assert off_mm(found[0].placement, truth, xy) < 0.1
    assert found[0].mirrored == mirrored
    assert found[0].grown.count > 30
    wrong = hypotheses(scene, xy, mirrored=not mirrored)
    assert not wrong or wrong[0].grown.count < 0.6 * found[0].grown.count


def test_no_two_are_the_same_and_best_come_first():
    rng = np.random.default_rng(4)
    xy = grid_holes()
    found = hypotheses(scene_of(rng, Affine.from_parts(offset=(-29, -20)), xy), xy, mirrored=False, keep=14)
    counts = [h.grown.count for h in found]
    assert counts == sorted(counts, reverse=True)
    for i, a in enumerate(found):
        for b in found[i + 1 :]:
            assert off_mm(a.placement, b.placement, xy) > 0.2


def test_an_empty_scene_proposes_nothing():
    scene = Scene(VIEW, np.zeros((0, 2)), np.zeros(0), np.zeros(0), (0.0,), 0.1, False)
    assert hypotheses(scene, grid_holes(), mirrored=False) == []


def dual_row(pins=14) -> np.ndarray:
    return np.array([[2.54 * k, 7.62 * row] for row in (0, 1) for k in range(pins)])


def test_twins_of_a_dual_row_are_its_half_turn_and_its_neighbours():
    xy = dual_row()
    scene = Scene(VIEW, xy, np.full(28, 0.8), np.ones(28), (0.0,), 0.1, False)
    best = Hypothesis(scene, Grown(Affine.identity(), np.arange(28), 1.0), False)
    found = [h for h in twins(best, xy) if h.mirrored == best.mirrored]
    half = Affine([[-1, 0, 33.02], [0, -1, 7.62]])
    assert min(off_mm(h.placement, half, xy) for h in found) < 0.01
    pitch = Affine.from_parts(offset=(2.54, 0))
    back = Affine.from_parts(offset=(-2.54, 0))
    assert min(off_mm(h.placement, p, xy) for h in found for p in (pitch, back)) < 0.01


def test_same_place():
    xy = grid_holes()
    near, far = Affine.from_parts(offset=(0.5, 0)), Affine.from_parts(offset=(1.0, 0))
    assert same_place(near, Affine.identity(), xy, 1.0)
    assert not same_place(far, Affine.identity(), xy, 1.0)
    # Counted in the plane's own unit.
    assert same_place(Affine.from_parts(offset=(5, 0)), Affine.identity(), xy, 10.0)


def test_two_pads_pointed_out_fix_the_place():
    rng = np.random.default_rng(5)
    xy = grid_holes()
    truth = Affine.from_parts(rotation_rad=2.1, mirrored=True)
    truth = Affine.from_parts(offset=-truth(xy.mean(axis=0))[0]) @ truth
    scene = scene_of(rng, truth, xy, direction=0.0)
    far = int(np.hypot(*(xy - xy[0]).T).argmax())
    px = VIEW.to_px(truth(xy[[0, far]])) + rng.normal(0, 4, (2, 2))
    pads = ((1, *px[0]), (far + 1, *px[1]))
    found = pointed_out(scene, xy, pads, mirrored=True)
    assert min(off_mm(h.placement, truth, xy) for h in found) < 0.2


def test_a_place_is_borne_out_where_the_pads_are():
    xy = grid_holes()
    def to_px(mm):
        return VIEW.to_px(np.asarray(mm) - [29, 20])
    u, v = to_px(xy[[4]])[0]
    assert borne_out(to_px, xy, ((5, u + 6, v - 6),), 20.0)
    assert not borne_out(to_px, xy, ((5, u + 60, v),), 20.0)
    assert not borne_out(to_px, xy, ((5, u, v), (6, u, v)), 20.0)
