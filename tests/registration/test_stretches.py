from __future__ import annotations

import numpy as np
import pytest
from support.drawn_copper import board, photograph

from drillaid.geometry import Affine
from drillaid.registration.copper import copper_edges, judge
from drillaid.registration.stretches import (
    TELLING_MM,
    Stretches,
    straight_runs_mm,
    stretches_seen,
    whole_stretches,
)
from drillaid.vision.channel import grey_of
from drillaid.vision.contours import EdgeModel
from drillaid.vision.eye import Eye

SHAPE, RATIO = (420, 560), 10.0
BOARD = board(6)
MODEL = copper_edges(BOARD.design.copper["bottom"])
VIEW = Affine([[RATIO, 0, 30.3], [0, -RATIO, 380.6]])


def frame(width: float, height: float, step: float = 0.4) -> EdgeModel:
    """The four sides of a rectangle."""
    x, y = np.arange(0, width, step), np.arange(0, height, step)
    sides = [
        (np.column_stack([x, 0 * x]), (0, 1)),
        (np.column_stack([x, 0 * x + height]), (0, -1)),
        (np.column_stack([0 * y, y]), (1, 0)),
        (np.column_stack([0 * y + width, y]), (-1, 0)),
    ]
    xy = np.concatenate([s for s, _ in sides])
    return EdgeModel(xy, np.concatenate([np.tile(n, (len(s), 1)) for s, n in sides]).astype(float))


def ring(at, radius: float) -> EdgeModel:
    a = np.arange(0, 2 * np.pi, 0.4 / radius)
    out = np.column_stack([np.cos(a), np.sin(a)])
    return EdgeModel(np.array(at) + radius * out, -out)


def joined(*models: EdgeModel) -> EdgeModel:
    return EdgeModel(np.concatenate([m.xy for m in models]), np.concatenate([m.normal for m in models]))


def test_runs_are_as_long_as_they_were_drawn():
    length = straight_runs_mm(joined(frame(60, 40), ring((20, 20), 0.9)))
    sides = len(frame(60, 40))
    assert np.median(length[:150]) == pytest.approx(60, abs=1.0)
    assert length[sides - 50 : sides] == pytest.approx(40, abs=1.0)
    assert length[sides:].max() < 2.0


@pytest.mark.parametrize("turn", [0.03, 0.07, 0.5])
def test_runs_at_any_angle(turn):
    """Bins of angle and width overlap, so none is cut in two."""
    model = frame(50, 30)
    spin = Affine.from_parts(rotation_rad=turn)
    turned = EdgeModel(spin(model.xy), model.normal @ spin.linear.T)
    assert np.median(straight_runs_mm(turned)[:100]) > 0.4 * 50


def test_a_gap_ends_a_run():
    x = np.r_[np.arange(0, 10, 0.4), np.arange(14, 20, 0.4)]
    model = EdgeModel(np.column_stack([x, 0 * x]), np.tile([0.0, 1.0], (len(x), 1)))
    length = straight_runs_mm(model)
    assert length[0] == pytest.approx(9.6, abs=0.1) and length[-1] == pytest.approx(5.6, abs=0.1)


def test_a_frame_says_little_for_its_length():
    rings = [ring((x, y), 0.9) for x in range(10, 55, 9) for y in (12, 26)]
    groups = Stretches.of(joined(frame(60, 40), *rings))
    model = joined(frame(60, 40), *rings)
    on_frame = np.unique(groups.cell[: len(frame(60, 40))])
    inside = np.setdiff1d(np.arange(groups.count), on_frame)
    assert groups.weight[on_frame].max() < 2.5 * TELLING_MM / 40
    assert groups.weight[inside].min() > 0.9
    assert groups.weight[inside].sum() > 2 * groups.weight[on_frame].sum()
    assert len(model) == len(groups.cell)


def test_whole_stretches_stay_whole():
    few = whole_stretches(MODEL, len(MODEL) // 3)
    assert 0.15 < len(few) / len(MODEL) < 0.5
    all_sizes = {
        tuple(c): n for c, n in zip(*np.unique(np.floor(MODEL.xy / 2.5), axis=0, return_counts=True), strict=True)
    }
    cells, sizes = np.unique(np.floor(few.xy / 2.5), axis=0, return_counts=True)
    assert all(all_sizes[tuple(c)] == n for c, n in zip(cells, sizes, strict=True))


def seen_at(noise: float, contrast: int = 60) -> np.ndarray:
    """Which stretches are seen on a picture of copper so much brighter than the board."""
    image = photograph(
        BOARD, VIEW, SHAPE, np.random.default_rng(2), noise=noise, blur_px=1.0,
        copper=(90, 90 + contrast, 90 + contrast), bare=(90, 90, 90),
    )  # fmt: skip
    grey = grey_of(image)
    eye = Eye(grey.image, grey.noise)
    got = judge(eye, VIEW, MODEL, Affine.identity(), RATIO, 0.2)
    return stretches_seen(eye, VIEW, MODEL, got.fit, RATIO)


def test_faint_edges_add_up_along_a_stretch():
    """Edges of three times the noise of a pixel, many of which are not clear one by one."""
    assert seen_at(noise=10.0, contrast=40).mean() > 0.75


def test_a_clear_picture_shows_nearly_all():
    assert seen_at(noise=2.0).mean() > 0.95
