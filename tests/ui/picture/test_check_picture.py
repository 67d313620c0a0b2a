from __future__ import annotations

import numpy as np
import pytest
from PyQt6.QtCore import QPoint, QPointF, Qt
from PyQt6.QtGui import QColor

from drillaid.inspection.drawn import Drawn, Mark
from ui.look.colours import OVER_LINE, THEMES
from ui.picture.check_picture import CheckPicture


@pytest.fixture
def picture(qtbot):
    """A grey board, one hole with an error to the right, one not drilled."""
    marks = (
        Mark(1, "drilled", (100, 100), (102, 100), (140, 100), 6.0, True, False),
        Mark(2, "undrilled", (200, 60), None, None, None, True, False),
        Mark(3, "hidden", (40, 60), None, None, None, False, False),
    )
    outline = np.array([(5.0, 5.0), (295, 5), (295, 195), (5, 195)])
    drawn = Drawn(np.full((200, 300, 3), 120, np.uint8), outline, marks, 10.0, 20)
    made = CheckPicture(THEMES["dark"])
    qtbot.addWidget(made)
    made.resize(600, 400)
    made.show_check(drawn)
    return made


def yellow(image, x0, x1, y0, y1) -> int:
    line = QColor(OVER_LINE)
    return sum(image.pixelColor(x, y) == line for x in range(x0, x1) for y in range(y0, y1))


def test_the_arrow_points_where_the_hole_went(picture):
    image = picture.grab().toImage()
    assert yellow(image, 204, 282, 190, 210) > 60  # twice the picture's places
    assert yellow(image, 120, 190, 190, 210) == 0


def test_a_hole_asked_for_comes_into_the_middle(qtbot, picture):
    picture.look_at(2)
    before = picture._pan
    assert picture._zoom > 1 and before != QPointF(0, 0)
    picture.look_at(99)
    assert picture._pan == before
    qtbot.mousePress(picture, Qt.MouseButton.LeftButton, pos=QPoint(100, 100))
    qtbot.mouseMove(picture, QPoint(140, 100))
    picture.zoom_by(0.01)
    assert picture._zoom == 1.0 and picture._pan == QPointF(0, 0)
