"""The pattern out of shape is told from the pattern in shape, and from none."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from drillaid.registration.bent import bend_of
from drillaid.registration.copper import copper_edges
from drillaid.simulation.conditions import bench_for
from drillaid.simulation.designs import random_design
from drillaid.vision.channel import grey_of
from drillaid.vision.eye import Eye


@pytest.fixture(scope="module")
def scene():
    bench = bench_for(random_design(68, 60), 68, size=(1280, 720))
    grey = grey_of(bench.render())
    return bench, Eye(grey.image, grey.noise)


def placed(scene, shift_mm):
    """The true placement, and beside it by shift_mm(xy)."""
    bench, eye = scene

    def to_px(xy):
        return bench.rig.to_pixels(bench.truth(np.asarray(xy) + shift_mm(np.asarray(xy))), 1.6)

    edges = copper_edges(bench.board.design.copper["bottom"])
    return SimpleNamespace(edges=edges, eye=eye, to_px=to_px, px_per_mm=bench.rig.px_per_mm(1.6))


def test_a_true_placement_is_not_bent(scene):
    bend = bend_of(placed(scene, lambda xy: 0 * xy))
    assert bend.stiff > 0.8 and bend.rms_mm < 0.08 and not bend.plain


def test_waves_are_measured(scene):
    bend = bend_of(placed(scene, lambda xy: 0.3 * np.sin(2 * np.pi * xy[:, ::-1] / 22.0)))
    assert bend.plain
    assert bend.loose > bend.stiff + 0.1
    # Two components of 0.3 mm amplitude: 0.3 mm rms, less what a linear placement takes up.
    assert bend.rms_mm == pytest.approx(0.25, abs=0.1)


def test_a_pattern_that_is_not_there_is_not_bent(scene):
    bend = bend_of(placed(scene, lambda xy: xy * [-1, 1] + [31.0, 3.0]))
    assert bend is None or not bend.plain
