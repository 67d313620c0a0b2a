"""Started once more where some lands do not agree, then cautiously; the best is kept, and the
camera's middle fitted last."""

from __future__ import annotations

from types import SimpleNamespace

import cv2
import numpy as np
import pytest

from drillaid.geometry import Affine, Homography
from drillaid.registration import through_lens
from drillaid.registration.through_lens import refine_through_lens

HOLES = np.array([(5.0 * i, 7.0 * j) for i in range(8) for j in range(3)])
TRUE = Homography(np.array([[9.0, 0.4, 60.0], [-0.3, 8.7, 50.0], [2e-4, 1e-4, 1.0]]))




def cropped() -> Homography:
    """Seen 25 degrees aslant by a camera whose middle lies half the picture beside the picture's."""
    camera = np.array([[620.0, 0, 640.0], [0, 620.0, 420.0], [0, 0, 1]])
    rotation = cv2.Rodrigues(np.radians(25) * np.array([0.6, -0.8, 0.0]))[0]
    return Homography(camera @ np.column_stack([rotation[:, :2], [-45.0, -25.0, 85.0]]))


def fitted(off_px: np.ndarray, support: float, *, convincing: bool = False) -> SimpleNamespace:
    """Stands for a fit that is off_px beside the truth at each hole."""
    agree = off_px == 0
    evidence = SimpleNamespace(convincing=convincing, lands=float(agree.mean()))
    return SimpleNamespace(
        to_px=lambda xy: TRUE(xy) + off_px[:, None], agree=agree, support=support,
        eye=SimpleNamespace(size_px=(640, 480)), px_per_mm=8.8, evidence=evidence,
    )  # fmt: skip


def refined(monkeypatch, *fits, rough: Homography = TRUE):
    """What comes of it where the camera's fits end as given, in turn, the last one ever again;
    and how each was started: (from where, how)."""
    starts = []

    def fit(image, design, face, h, mirrored, start, way):
        starts.append((start, "cropped" if way.cropped else "cautious" if way.cautious else "plain"))
        return fits[min(len(starts), len(fits)) - 1]

    monkeypatch.setattr(through_lens, "_fitted", fit)
    scene = SimpleNamespace(
        view=SimpleNamespace(homography=rough, to_px=rough, size_px=(640, 480))
    )
    h = SimpleNamespace(scene=scene, placement=Affine.identity())
    return refine_through_lens(None, SimpleNamespace(xy_mm=HOLES), "bottom", h, False), starts


def ways(starts) -> list[str]:
    return [way for _, way in starts]


PART = np.where(HOLES[:, 0] > 29, 12.0, 0.0)
BENT, RIGHT = fitted(PART, 30.0), fitted(np.zeros(len(HOLES)), 60.0)


def test_a_part_that_does_not_agree_starts_the_fit_again_through_the_rest(monkeypatch):
    got, starts = refined(monkeypatch, BENT, RIGHT)
    assert got is RIGHT and ways(starts) == ["plain", "plain"]
    again = starts[1][0]
    assert np.array_equal(again.pad_seen, PART == 0)
    # The second start is right where the first fit was not.
    assert again.homography(HOLES) == pytest.approx(TRUE(HOLES), abs=1e-3)


def test_where_that_does_not_help_the_lens_is_set_free_little_by_little(monkeypatch):
    got, starts = refined(monkeypatch, BENT, None, RIGHT)
    assert got is RIGHT and ways(starts) == ["plain", "plain", "cautious"]
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


def test_what_no_uncropped_camera_shows_is_taken_for_cropped_first(monkeypatch):
    assert ways(refined(monkeypatch, RIGHT, rough=cropped())[1]) == ["cropped"]
    assert ways(refined(monkeypatch, None, rough=cropped())[1]) == ["cropped", "plain", "cautious"]


def test_the_middle_is_fitted_last_from_where_the_best_came_to(monkeypatch):
    sure = fitted(np.zeros(len(HOLES)), 60.0, convincing=True)
    free = fitted(np.zeros(len(HOLES)), 59.0, convincing=True)
    got, starts = refined(monkeypatch, sure, free)
    assert got is free and ways(starts) == ["plain", "cropped"]
    assert starts[1][0].homography(HOLES) == pytest.approx(TRUE(HOLES), abs=1e-3)


@pytest.mark.parametrize("free", [None, fitted(PART, 40.0)], ids=["nothing", "less agrees"])
def test_unless_less_agrees_so(monkeypatch, free):
    sure = fitted(np.zeros(len(HOLES)), 60.0, convincing=True)
    assert refined(monkeypatch, sure, free)[0] is sure


def test_what_does_not_convince_is_not_refined_further(monkeypatch):
    assert ways(refined(monkeypatch, RIGHT)[1]) == ["plain"]


def test_nearly_all_lands_are_enough(monkeypatch):
    """Two of a board's lands may have come off."""
    off = np.where(np.arange(len(HOLES)) < 2, 12.0, 0.0)
    nearly = fitted(off, 60.0, convincing=True)
    assert ways(refined(monkeypatch, nearly)[1]) == ["plain", "plain", "cropped"]


def test_a_stretched_print_does_not_make_up_for_a_middle_that_is_elsewhere(monkeypatch):
    """An uncropped camera shows these holes to 0.2 mm, over a print stretched by 5 %."""
    camera = np.array([[620.0, 0, 539.5], [0, 620.0, 239.5], [0, 0, 1]])
    rotation = cv2.Rodrigues(np.radians(25) * np.array([0.0, -1.0, 0.0]))[0]
    middle = np.linalg.inv(camera) @ [320.0, 240.0, 1.0] * 40.0 - rotation @ [17.5, 7.0, 0.0]
    rough = Homography(camera @ np.column_stack([rotation[:, :2], middle]))
    assert ways(refined(monkeypatch, RIGHT, rough=rough)[1]) == ["cropped"]
