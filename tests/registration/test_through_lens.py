"""Started once more where some lands do not agree; the better of the two is kept."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from drillaid.geometry import Affine, Homography
from drillaid.registration import through_lens
from drillaid.registration.through_lens import refine_through_lens

HOLES = np.array([(5.0 * i, 7.0 * j) for i in range(8) for j in range(3)])
TRUE = Homography(np.array([[9.0, 0.4, 60.0], [-0.3, 8.7, 50.0], [2e-4, 1e-4, 1.0]]))


def fitted(off_px: np.ndarray, support: float) -> SimpleNamespace:
    """Stands for a fit that is off_px beside the truth at each hole."""
    return SimpleNamespace(
        to_px=lambda xy: TRUE(xy) + off_px[:, None], agree=off_px == 0, support=support,
        eye=SimpleNamespace(size_px=(640, 480)), px_per_mm=8.8,
    )  # fmt: skip


@pytest.mark.parametrize("better", [True, False])
def test_a_part_that_does_not_agree_starts_the_fit_again_through_the_rest(monkeypatch, better):
    off = np.where(HOLES[:, 0] > 29, 12.0, 0.0)
    done = [fitted(off, 30.0), fitted(np.zeros(len(HOLES)), 60.0 if better else 20.0)]
    starts = []

    def fit(image, design, face, h, mirrored, start):
        starts.append(start)
        return done[len(starts) - 1]

    monkeypatch.setattr(through_lens, "_fitted", fit)
    scene = SimpleNamespace(view=SimpleNamespace(homography=TRUE, to_px=TRUE))
    h = SimpleNamespace(scene=scene, placement=Affine.identity())
    got = refine_through_lens(None, SimpleNamespace(xy_mm=HOLES), "bottom", h, True)
    assert got is done[1 if better else 0]
    assert len(starts) == 2 and np.array_equal(starts[1].pad_seen, off == 0)
    # The second start is right where the first fit was not.
    assert starts[1].homography(HOLES) == pytest.approx(TRUE(HOLES), abs=1e-3)


def test_where_all_lands_agree_one_fit_is_enough(monkeypatch):
    starts = []
    monkeypatch.setattr(through_lens, "_fitted", lambda *words: starts.append(words) or fitted(
        np.zeros(len(HOLES)), 60.0))  # fmt: skip
    scene = SimpleNamespace(view=SimpleNamespace(homography=TRUE, to_px=TRUE))
    h = SimpleNamespace(scene=scene, placement=Affine.identity())
    refine_through_lens(None, SimpleNamespace(xy_mm=HOLES), "bottom", h, True)
    assert len(starts) == 1
