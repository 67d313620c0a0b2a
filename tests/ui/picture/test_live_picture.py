from __future__ import annotations

import numpy as np
import pytest
from PyQt6.QtCore import QPoint, Qt

from ui.look.colours import DARK
from ui.picture.live_picture import LivePicture, Overlay
from ui.running.guiding import image_of
from ui.running.looking import SEEING, Look

GREY = np.full((45, 80, 3), 120, np.uint8)


@pytest.fixture
def picture(qtbot):
    made = LivePicture(DARK)
    qtbot.addWidget(made)
    made.resize(800, 600)  # the photograph, 16 to 9, then lies from y = 75 to y = 525
    made.show()
    return made


def shown(picture, **overlay):
    look = Look(SEEING, image_of(GREY), (1600, 900))
    picture.show_look(look, Overlay(**overlay))
    return picture.grab().toImage()


def test_a_click_is_a_place_in_the_photograph(qtbot, picture):
    shown(picture, pointing=True)
    with qtbot.waitSignal(picture.pointed) as got:
        qtbot.mouseClick(picture, Qt.MouseButton.LeftButton, pos=QPoint(200, 175))
    assert got.args == pytest.approx([399.5, 199.5], abs=1.0)
    with qtbot.assertNotEmitted(picture.pointed, wait=20):
        qtbot.mouseClick(picture, Qt.MouseButton.LeftButton, pos=QPoint(200, 30))  # beside it


def test_keys_point_as_well(qtbot, picture):
    shown(picture, pointing=True)
    qtbot.keyClick(picture, Qt.Key.Key_Right)
    with qtbot.waitSignal(picture.pointed) as got:
        qtbot.keyClick(picture, Qt.Key.Key_Return)
    assert got.args == pytest.approx([816.0, 450.0])


def test_nobody_points_where_nothing_is_asked(qtbot, picture):
    shown(picture)
    with qtbot.assertNotEmitted(picture.pointed, wait=20):
        qtbot.mouseClick(picture, Qt.MouseButton.LeftButton, pos=QPoint(200, 175))


def test_unseen_parts_are_hatched_and_what_was_seen_is_drawn(picture):
    grid = np.zeros((5, 8), bool)
    grid[:, 4:] = True
    image = shown(picture, grid=grid)
    seen = {image.pixelColor(x, 300).name() for x in range(500, 560)}
    unseen = {image.pixelColor(x, 300).name() for x in range(100, 160)}
    assert len(seen) == 1 and len(unseen) > 1
    image = shown(picture, points=np.array([[400.0, 200.0]]), rings=np.array([[1200.0, 700.0]]))
    assert image.pixelColor(200, 175).name() != "#787878"
    assert image.pixelColor(600, 425).name() == "#787878"  # the ring leaves its middle free


def test_what_is_wrong_stands_across_the_picture(picture):
    picture.show_look(None, Overlay(), "The camera is gone; plug it in again.")
    assert picture.accessibleDescription().startswith("The camera is gone")
    image = picture.grab().toImage()
    assert any(image.pixelColor(x, 300).name() == "#ffffff" for x in range(800))
