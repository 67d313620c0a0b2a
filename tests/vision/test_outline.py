from __future__ import annotations

import cv2
import numpy as np

from drillaid.vision.outline import board_region, borders_of


def bench() -> np.ndarray:
    """Speckled, with pencil lines that cross at right angles and a few round things."""
    rng = np.random.default_rng(2)
    small = rng.normal(120, 9, (540, 960, 1)).repeat(3, axis=2).clip(0, 255).astype(np.uint8)
    cv2.line(small, (50, 60), (700, 60), (60, 60, 60), 2, cv2.LINE_AA)
    cv2.line(small, (90, 20), (90, 480), (60, 60, 60), 2, cv2.LINE_AA)
    for u in range(200, 900, 130):
        cv2.circle(small, (u, 450), 24, (190, 190, 190), -1, cv2.LINE_AA)
    return small


def with_board(small: np.ndarray, *, tracks: bool) -> np.ndarray:
    box = cv2.boxPoints(((480, 260), (520, 330), 9.0))
    cv2.fillConvexPoly(small, np.rint(box).astype(np.int32), (90, 160, 180), cv2.LINE_AA)
    if tracks:
        for k in range(12):
            start = box[0] + (box[1] - box[0]) * 0.06 * (k + 2)
            end = start + 0.75 * (box[3] - box[0])
            cv2.line(small, np.rint(start).astype(int), np.rint(end).astype(int), (60, 90, 150), 7)
    return small


def test_a_bare_board_is_a_region_with_nothing_in_it():
    region = board_region(with_board(bench(), tracks=False))
    assert region is not None and region.corners == 4 and region.sides == 0
    assert region.busy < 0.01
    assert abs(region.area - 520 * 330 / (960 * 540)) < 0.03


def test_tracks_make_it_busy_or_break_it_up():
    region = board_region(with_board(bench(), tracks=True))
    assert region is None or region.busy > 0.05


def test_a_board_has_straight_borders_at_right_angles_and_pencil_lines_are_none():
    assert board_region(bench()) is None
    assert borders_of(bench()).corner_px == 0
    assert borders_of(with_board(bench(), tracks=False)).corner_px > 250


def test_soft_patches_of_light_are_told():
    rng = np.random.default_rng(1)
    patches = cv2.resize(rng.normal(0, 40, (22, 40)).astype(np.float32), (960, 540), interpolation=cv2.INTER_CUBIC)
    small = (bench() + patches[..., None]).clip(0, 255).astype(np.uint8)
    assert borders_of(small).soft and not borders_of(bench()).soft
