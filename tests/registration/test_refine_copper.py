"""Which lands belong to what is seen of the copper, also where single edges are lost in noise."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from support.drawn_copper import board, photograph

from drillaid.geometry import Affine
from drillaid.registration import refine_copper
from drillaid.registration.copper import copper_edges, judge
from drillaid.registration.refine_copper import lands_share, pads_by_edges
from drillaid.vision.channel import grey_of
from drillaid.vision.eye import Eye

PX_PER_MM = 12.0


def seen(noise: float, shift_mm=(0.0, 0.0)):
    """(share of lands by stretches, share by single edges) of a drawn board laid so far aside."""
    drawn = board(4, size_mm=(60.0, 40.0), holes=20, tracks=14)
    truth = Affine.from_parts(scale=PX_PER_MM, offset=(60.0, 50.0))
    image = photograph(drawn, truth, (600, 840), np.random.default_rng(1), noise=noise)
    grey = grey_of(image)
    eye, edges = Eye(grey.image, grey.noise), copper_edges(drawn.design.copper["bottom"])
    start = Affine.from_parts(offset=shift_mm)
    judged = judge(eye, truth, edges, start, PX_PER_MM, 0.2, reaches=(0.3, 0.2))
    holes = drawn.design.xy_mm
    by_edges = pads_by_edges(
        eye, lambda xy: truth(judged.fit.placement(xy)), edges, holes, PX_PER_MM, judged.fit
    )
    share = lands_share(eye, truth, edges, holes, PX_PER_MM, judged.fit)
    return share, float(by_edges.mean())


def test_all_lands_are_seen_where_the_board_lies():
    assert seen(3.0)[0] >= 0.95


def test_few_are_beside_it():
    assert seen(3.0, (1.7, 1.1))[0] < 0.5


def test_in_noise_stretches_show_lands_that_single_edges_do_not():
    share, by_edges = seen(15.0)
    assert by_edges < 0.5 < 0.8 <= share


@pytest.mark.parametrize("far", [(500.0, 0.0)])
def test_out_of_the_picture_nothing_speaks_against_it(far):
    drawn = board(4, size_mm=(60.0, 40.0), holes=20, tracks=14)
    truth = Affine.from_parts(scale=PX_PER_MM, offset=(60.0, 50.0))
    image = photograph(drawn, truth, (600, 840), np.random.default_rng(1), noise=3.0)
    grey = grey_of(image)
    eye, edges = Eye(grey.image, grey.noise), copper_edges(drawn.design.copper["bottom"])
    fit = judge(eye, truth, edges, Affine.identity(), PX_PER_MM, 0.2).fit

    def away(xy):
        return truth(xy) + np.array(far) * PX_PER_MM

    assert lands_share(eye, away, edges, drawn.design.xy_mm, PX_PER_MM, fit) == 1.0


@pytest.mark.parametrize(("calibrated", "lands"), [(False, 0.3), (True, 1.0)])
def test_lands_are_asked_for_where_a_lens_is_fitted_as_well(monkeypatch, calibrated, lands):
    monkeypatch.setattr(refine_copper, "lands_share", lambda *words: 0.3)
    drawn = board(4, size_mm=(60.0, 40.0), holes=20, tracks=14)
    truth = Affine.from_parts(scale=PX_PER_MM, offset=(60.0, 50.0))
    grey = grey_of(photograph(drawn, truth, (600, 840), np.random.default_rng(1), noise=3.0))
    edges, here = copper_edges(drawn.design.copper["bottom"]), Affine.identity()
    h = SimpleNamespace(scene=SimpleNamespace(calibrated=calibrated), placement=here)
    got = refine_copper.refine_by_copper(
        Eye(grey.image, grey.noise), h, here, truth, edges, drawn.design.xy_mm, PX_PER_MM, lambda: 0.2
    )
    assert got.evidence.lands == lands and got.evidence.chance == 0.2
