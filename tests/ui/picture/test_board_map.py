from __future__ import annotations

import numpy as np
import pytest
from PyQt6.QtCore import QPointF, Qt

from ui.look.colours import DARK
from ui.picture.board_map import BoardMap
from ui.picture.board_picture import board_picture


@pytest.fixture
def board_map(qtbot, small_job):
    made = BoardMap(DARK)
    qtbot.addWidget(made)
    made.resize(600, 420)
    made.show_board(*board_picture(small_job), small_job.design.xy_mm)
    made.show_states(("left",) * len(small_job.design.holes))
    made.show()
    return made


def places(board_map):
    return [QPointF(x, y) for x, y in board_map.places()]


def test_a_click_on_a_hole_chooses_it(qtbot, board_map):
    for number in (1, 7, 20):
        at = places(board_map)[number - 1].toPoint()
        with qtbot.waitSignal(board_map.chosen, timeout=1000) as got:
            qtbot.mouseClick(board_map, Qt.MouseButton.LeftButton, pos=at)
        assert got.args == [number]


def test_a_pull_pans_and_chooses_nothing(qtbot, board_map):
    heard, before = [], places(board_map)[0]
    board_map.chosen.connect(heard.append)
    qtbot.mousePress(board_map, Qt.MouseButton.LeftButton, pos=before.toPoint())
    qtbot.mouseMove(board_map, (before + QPointF(40, 25)).toPoint())
    qtbot.mouseRelease(board_map, Qt.MouseButton.LeftButton, pos=before.toPoint())
    moved = places(board_map)[0] - before
    assert (moved.x(), moved.y()) == pytest.approx((40, 25), abs=2)
    assert heard == []


def test_keys_step_through_the_holes(qtbot, board_map):
    qtbot.keyClick(board_map, Qt.Key.Key_Right)
    qtbot.keyClick(board_map, Qt.Key.Key_Right)
    with qtbot.waitSignal(board_map.chosen, timeout=1000) as got:
        qtbot.keyClick(board_map, Qt.Key.Key_Return)
    assert got.args == [2]


def test_zooming_keeps_the_place_under_the_hand(board_map):
    before = places(board_map)[4]
    board_map._zoom_by(3.0, before)
    after = places(board_map)[4]
    assert (after.x(), after.y()) == pytest.approx((before.x(), before.y()), abs=0.01)


def test_a_turned_map_is_clicked_where_it_shows(qtbot, board_map):
    straight = board_map.places()
    board_map.show_turn(1.2)
    turned = board_map.places()
    about = [board_map.width() / 2, board_map.height() / 2]
    arms = [np.array(p) - about for p in (straight[6], turned[6])]
    angle = np.arctan2(arms[1][1], arms[1][0]) - np.arctan2(arms[0][1], arms[0][0])
    assert angle % (2 * np.pi) == pytest.approx(1.2, abs=1e-6)  # y runs down: clockwise
    with qtbot.waitSignal(board_map.chosen, timeout=1000) as got:
        qtbot.mouseClick(board_map, Qt.MouseButton.LeftButton, pos=QPointF(*turned[6]).toPoint())
    assert got.args == [7]


def test_signs_of_neighbours_do_not_run_into_one_another(board_map):
    places = board_map.places()
    away = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1)) + 1e9 * np.eye(
        len(places)
    )
    assert 2.5 * board_map._sign_px() < np.median(away.min(axis=1)) * 1.01
