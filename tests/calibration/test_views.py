"""Finding the pattern, against drawn truth; and each reason for not finding it."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from support.sheets import PLAIN, SMALL, photograph

from calibration.pattern import Pattern
from calibration.views import NoPattern, PatternView, edge_blur_px, find_pattern
from drillaid.simulation.optics import Light, Optics


def errors_of(view, true_px):
    return view.corners_px - true_px(view.corners_mm)


@pytest.mark.parametrize("turn", [(0.15, -0.25, 0.1), (0.3, 0.2, 3.1), (0.0, 0.0, 1.6)])
def test_coded_corners_lie_where_they_were_drawn_and_know_how_well(turn):
    image, true_px = photograph(turn=turn)
    view = find_pattern(image, SMALL)
    assert isinstance(view, PatternView)
    assert len(view) > 0.75 * len(SMALL.corners_mm)
    off = errors_of(view, true_px)
    assert np.sqrt((off**2).mean()) < 0.02
    assert np.abs(off.mean(axis=0)).max() < 0.004  # no bias of drawing or fit
    assert 0.5 < np.sqrt(((off / view.sigma_px[:, None]) ** 2).mean()) < 1.3
    assert view.size_px == (960, 540)
    np.testing.assert_array_equal(view.corners_mm, SMALL.corners_mm[view.ids])


@pytest.mark.parametrize("turn", [(0.15, -0.25, 0.1), (0.3, 0.2, 3.1)])
def test_copper_brighter_than_the_laminate_is_the_same_pattern(turn):
    """An etched test board: shiny copper (170 to 200) where ink would be, brown laminate."""
    printed, true_px = photograph(turn=turn)
    grey = cv2.cvtColor(printed, cv2.COLOR_BGR2GRAY).astype(float)
    etched = np.clip(195 - 0.55 * grey, 0, 255).astype(np.uint8)
    view = find_pattern(etched, SMALL)
    assert isinstance(view, PatternView), view
    assert len(view) > 0.75 * len(SMALL.corners_mm)
    off = errors_of(view, true_px)
    assert np.sqrt((off**2).mean()) < 0.04 and np.abs(off.mean(axis=0)).max() < 0.01
    np.testing.assert_array_equal(view.corners_mm, SMALL.corners_mm[view.ids])


def test_a_mirrored_board_of_bright_copper_is_still_refused():
    answer = find_pattern(255 - photograph(mirrored=True)[0], SMALL)
    assert isinstance(answer, NoPattern)


def test_a_part_of_a_coded_sheet_is_enough():
    image, true_px = photograph(middle=(-10, -4))
    view = find_pattern(image, SMALL)
    assert 12 <= len(view) < 0.6 * len(SMALL.corners_mm)
    assert np.abs(errors_of(view, true_px)).max() < 0.08


@pytest.mark.parametrize("turn", [(0.15, -0.25, 0.1), (0.2, 0.1, 3.2)])
def test_plain_chessboard(turn):
    image, true_px = photograph(PLAIN, turn)
    view = find_pattern(cv2.cvtColor(image, cv2.COLOR_BGR2GRAY), PLAIN)
    assert len(view) == len(PLAIN.corners_mm)
    assert np.abs(errors_of(view, true_px)).max() < 0.05


CASES = {
    "blurred": {"optics": Optics(blur_px=4.0)},
    "moved": {"optics": Optics(motion_px=(12, 5))},
    "dark": {"light": Light(level=0.04)},
    "mirrored": {"mirrored": True},
    "small": {"distance_mm": 400.0},
    "cropped": {"middle": (-21, -11), "turn": (0, 0, 0)},
    "none": {"middle": (900, 0)},
}


@pytest.mark.parametrize("kind", CASES)
def test_each_reason_has_its_own_sentence(kind):
    image, _ = photograph(**CASES[kind])
    answer = find_pattern(image, SMALL)
    assert isinstance(answer, NoPattern)
    assert answer.kind == {"moved": "blurred"}.get(kind, kind)
    assert "; " in answer.reason and not answer.reason.endswith(".")


def test_overexposed():
    image, _ = photograph()
    answer = find_pattern(cv2.convertScaleAbs(image, alpha=8.0), SMALL)
    assert answer.kind == "overexposed"


@pytest.mark.parametrize(
    ("shown", "asked"),
    [
        (Pattern(11, 8, 5.0), SMALL),
        (SMALL, Pattern(14, 9, 5.0)),
        (PLAIN, SMALL),
        (PLAIN, Pattern(8, 5, 7.0, coded=False)),
    ],
)
def test_another_pattern_is_refused_as_such(shown, asked):
    image, _ = photograph(shown)
    answer = find_pattern(image, asked)
    assert isinstance(answer, NoPattern) and answer.kind == "wrong"


def test_a_plain_chessboard_must_be_whole():
    image, _ = photograph(PLAIN, middle=(-10, 20))
    answer = find_pattern(image, PLAIN)
    assert answer.kind == "cropped" and "whole" in answer.reason


def test_a_hidden_corner_is_left_out_and_not_guessed():
    image, true_px = photograph()
    u, v = np.rint(true_px(SMALL.corners_mm[[40]])[0]).astype(int)
    cv2.circle(image, (int(u), int(v)), 9, (120, 150, 190), -1)  # a fingertip
    view = find_pattern(image, SMALL)
    assert 40 not in view.ids
    assert np.abs(errors_of(view, true_px)).max() < 0.08


@pytest.mark.parametrize("blur", [1.5, 3.0])
def test_blur_of_edges_is_measured_without_a_pattern(blur):
    image, _ = photograph(optics=Optics(blur_px=blur, noise=1.0))
    grey = cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
    assert edge_blur_px(grey) == pytest.approx(blur, rel=0.4, abs=0.5)
