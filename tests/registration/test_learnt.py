"""What is learnt of a board's looks: where its own edges lie, and none of a hand's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial import cKDTree

from drillaid.registration.copper import copper_edges
from drillaid.registration.learnt import EDGES, Learnt, learn
from drillaid.simulation.bench import Occluders
from drillaid.simulation.conditions import bench_for
from drillaid.simulation.designs import random_design
from drillaid.vision.contours import EdgeModel, read_edges
from drillaid.vision.plane import RigPlane


def bench(seed: int, **words):
    made = bench_for(random_design(seed, 60), seed, **words)
    made.place(0.0, 0.0, 0.3)
    return made


def learnt_on(here) -> Learnt:
    return learn(
        here.render(), here.truth, here.board.design, "bottom", RigPlane(here.rig, 1.6),
        here.rig.px_per_mm(1.6),
    )  # fmt: skip


def scatter_mm(here, learnt: Learnt, model: EdgeModel) -> float:
    """Of where edges are seen about their places in the picture as it is now."""
    view = RigPlane(here.rig, 1.6)
    got = read_edges(
        here.render(), lambda xy: view.to_px(here.truth(xy)), model, 0.2, noise=learnt.noise,
        px_per_unit=here.rig.px_per_mm(1.6), weights=learnt.weights,
    )  # fmt: skip
    off = got.off[got.clear & (np.abs(got.off) < 0.1)]
    return float(1.4826 * np.median(np.abs(off - np.median(off))))


@pytest.mark.parametrize("seed", [1, 6])
def test_what_the_etching_frayed_is_learnt_with_the_board(seed):
    here = bench(seed)
    learnt = learnt_on(here)
    here.move(1.5, -1.0, 0.2)
    drawn = copper_edges(here.board.design.copper["bottom"])
    assert scatter_mm(here, learnt, learnt.whole) < 0.6 * scatter_mm(here, learnt, drawn)


def test_where_one_edge_tells_little_more_are_followed():
    clean, blotched = learnt_on(bench(0)), learnt_on(bench(2))
    assert clean.fine is None and len(clean.model) == EDGES
    assert len(blotched.fine) > 2 * EDGES


def test_under_a_hand_nothing_of_the_hand_is_learnt():
    here = bench(70)
    here.occluders = Occluders(bit=True, fingers=0.7)
    learnt = learnt_on(here)
    drawn = copper_edges(here.board.design.copper["bottom"])
    away = cKDTree(drawn.xy).query(learnt.whole.xy)[0]
    # Over-etched by up to 0.1 mm, frayed by as much again.
    assert np.quantile(away, 0.99) < 0.25 and len(learnt.whole) >= 200


def test_by_its_drill_list_alone_a_board_is_learnt_about_the_pads_that_were_seen():
    """What a hand shows cannot be told from the board there, and goes away with the hand."""
    here = bench(8)
    here.occluders = Occluders(bit=True, fingers=0.5)
    image, hidden = here.render(), here.covered()
    design = replace(here.board.design, copper={}, lands=())
    assert 0.3 < hidden.mean() < 0.7

    def moved_away(pad_seen) -> float:
        """Share of what was learnt that is still there when the hand is gone."""
        view, ratio = RigPlane(here.rig, 1.6), here.rig.px_per_mm(1.6)
        learnt = learn(image, here.truth, design, "bottom", view, ratio, pad_seen)
        here.occluders = Occluders()
        without = here.render()
        here.occluders = Occluders(bit=True, fingers=0.5)
        got = read_edges(
            without, lambda xy: view.to_px(here.truth(xy)), learnt.model, 0.2, noise=learnt.noise,
            px_per_unit=ratio, weights=learnt.weights,
        )  # fmt: skip
        return float((got.clear & (np.abs(got.off) < 0.05)).mean())

    assert moved_away(~hidden) > 0.9
    assert moved_away(None) < 0.8
