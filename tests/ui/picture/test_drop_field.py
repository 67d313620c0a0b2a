from __future__ import annotations

from PyQt6.QtGui import QColor

from ui.look.colours import THEMES
from ui.picture.drop_field import DropField


def test_its_words_are_drawn_and_read_aloud(qtbot):
    colours = THEMES["light"]
    field = DropField(colours, "Drop it", "A folder does as well.")
    qtbot.addWidget(field)
    field.resize(400, 300)
    assert field.accessibleName() == "Drop it. A folder does as well."
    empty = DropField(colours, "", "")
    qtbot.addWidget(empty)
    empty.resize(400, 300)

    def inky(widget) -> int:
        image, ink = widget.grab().toImage(), QColor(colours.ink)
        return sum(image.pixelColor(x, y) == ink for x in range(400) for y in range(130, 200))

    assert inky(field) > 100 and inky(empty) == 0
