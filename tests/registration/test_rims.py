from __future__ import annotations

import numpy as np
import pytest
from support.drawn_copper import board, photograph

from drillaid.geometry import Affine
from drillaid.registration.probing import Eye
from drillaid.registration.rims import groups_of, rim_radii, rims
from drillaid.vision.channel import grey_of

SHAPE, RATIO = (560, 760), 15.0
VIEW = Affine([[-RATIO, 0.6, 720.3], [-0.6, -RATIO, 540.6]])


@pytest.mark.parametrize("etch_mm", [0.0, 0.08])
@pytest.mark.parametrize("bright", [True, False])
def test_lands_of_each_bit_size_are_measured(etch_mm, bright):
    drawn = board(5, tracks=12)
    look = {} if bright else {"copper": (40, 45, 50), "bare": (110, 150, 160)}
    grey = grey_of(photograph(drawn, VIEW, SHAPE, np.random.default_rng(1), etch_mm=etch_mm, **look))
    got = rim_radii(
        Eye(grey.image, grey.noise), VIEW, Affine.identity(), drawn.design.xy_mm,
        drawn.design.drill_mm, RATIO,
    )  # fmt: skip
    # Looked for within 0.14 mm of each radius that is tried: hardly better than that.
    assert np.abs(got - (drawn.land_mm - etch_mm)).max() < 0.16
    near = rim_radii(
        Eye(grey.image, grey.noise), VIEW, Affine.identity(), drawn.design.xy_mm,
        drawn.design.drill_mm, RATIO, start=got, step_mm=0.02,
    )  # fmt: skip
    assert np.abs(near - (drawn.land_mm - etch_mm)).max() < 0.16


def test_rims_point_inwards():
    holes = np.array([[3.0, 4.0], [10.0, 4.0]])
    model = rims(holes, np.array([0.8, 1.2]))
    for place, radius in zip(holes, (0.8, 1.2), strict=True):
        mine = np.hypot(*(model.xy - place).T) < 2
        away = model.xy[mine] - place
        assert np.hypot(*away.T) == pytest.approx(radius)
        assert (model.normal[mine] * away).sum(axis=1) == pytest.approx(-radius)
    assert len(model) == int(2 * np.pi * 0.8 / 0.3) + int(2 * np.pi * 1.2 / 0.3)


def test_small_groups_join_the_next_size():
    drill = np.array([0.8] * 6 + [1.0] * 2 + [1.2] * 4 + [3.0])
    groups = groups_of(drill)
    assert len(set(groups[:6])) == 1
    assert groups[6] == groups[8] != groups[0]
    assert groups_of(np.array([0.8, 0.8000001, 0.8])).tolist() == [0, 0, 0]
