"""Started once more where some lands do not agree, then cautiously; the best is kept."""

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


def refined(monkeypatch, *fits):
    """What comes of it where the camera's fits end as given, in turn, the last one ever again;
    and how each was started: (from where, cautiously)."""
    starts = []

    def fit(image, design, face, h, mirrored, start, cautious):
        starts.append((start, cautious))
        return fits[min(len(starts), len(fits)) - 1]

    monkeypatch.setattr(through_lens, "_fitted", fit)
    scene = SimpleNamespace(view=SimpleNamespace(homography=TRUE, to_px=TRUE))
    h = SimpleNamespace(scene=scene, placement=Affine.identity())
    return refine_through_lens(None, SimpleNamespace(xy_mm=HOLES), "bottom", h, True), starts


PART = np.where(HOLES[:, 0] > 29, 12.0, 0.0)
BENT, RIGHT = fitted(PART, 30.0), fitted(np.zeros(len(HOLES)), 60.0)


def test_a_part_that_does_not_agree_starts_the_fit_again_through_the_rest(monkeypatch):
    got, starts = refined(monkeypatch, BENT, RIGHT)
    assert got is RIGHT and [cautious for _, cautious in starts] == [False, False]
    again = starts[1][0]
    assert np.array_equal(again.pad_seen, PART == 0)
    # The second start is right where the first fit was not.
    assert again.homography(HOLES) == pytest.approx(TRUE(HOLES), abs=1e-3)


def test_where_that_does_not_help_the_lens_is_set_free_little_by_little(monkeypatch):
    got, starts = refined(monkeypatch, BENT, None, RIGHT)
    assert got is RIGHT and [cautious for _, cautious in starts] == [False, False, True]
    assert starts[2][0].pad_seen.all()  # from where the first one started


def test_a_fit_that_comes_to_nothing_is_tried_cautiously(monkeypatch):
    assert refined(monkeypatch, None, RIGHT)[0] is RIGHT
    assert refined(monkeypatch, None)[0] is None


def test_of_fits_that_all_leave_a_part_out_the_best_supported_is_kept(monkeypatch):
    worse = fitted(PART, 20.0)
    got, starts = refined(monkeypatch, BENT, worse, worse)
    assert got is BENT and len(starts) == 4


def test_where_all_lands_agree_one_fit_is_enough(monkeypatch):
    assert len(refined(monkeypatch, RIGHT)[1]) == 1
