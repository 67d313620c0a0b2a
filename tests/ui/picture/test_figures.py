from __future__ import annotations

import numpy as np
import pytest
from PyQt6.QtGui import QImage
from support.bench_job import Job, work_of

from ui.look.colours import DARK
from ui.picture.bit_card import BitCard
from ui.picture.camera_picture import CameraPicture
from ui.picture.figures import FIGURE_PX, FigurePanel, way_words

DIGIT_SHARE = 0.7  # a digit's height in parts of its type, at least (common practice, no source)


@pytest.fixture
def job():
    made = Job(work_of((0.8, 3), (1.0, 2)))
    made.fit(0.8)
    return made


def test_the_distance_is_told_in_figures(qtbot, job):
    panel = FigurePanel(DARK)
    qtbot.addWidget(panel)
    panel.show_guidance(job.see(off=(1.2, -0.35)), None)
    assert panel.shown == "PUSH, 1.25 mm"
    panel.show_guidance(job.hold(), None)
    assert panel.shown.startswith("DRILL")


def test_the_figures_are_ten_mm_high_on_a_large_screen():
    """24 inch full HD: 531 mm for 1920 px, so 10 mm are 36 px."""
    assert FIGURE_PX * DIGIT_SHARE >= 10 * 1920 / 531


@pytest.mark.parametrize(
    ("off", "told"),
    [((1.2, 0.35), "right 1.20   away 0.35"), ((-0.5, -2.0), "left 0.50   to you 2.00")],
)
def test_both_parts_of_the_push_have_their_word(off, told):
    assert way_words(off) == told


def test_what_is_wrong_stands_across_the_picture(qtbot):
    picture = CameraPicture(DARK)
    qtbot.addWidget(picture)
    picture.resize(640, 480)
    image = QImage(640, 480, QImage.Format.Format_BGR888)
    image.fill(0x808080)
    picture.show_sight(image, None)
    plain = picture.grab().toImage()
    picture.show_sight(image, None, over="The camera is gone; plug it in.")
    told = picture.grab().toImage()

    def pixels(grabbed):
        grabbed = grabbed.convertToFormat(QImage.Format.Format_Grayscale8)
        data = grabbed.constBits().asstring(grabbed.sizeInBytes())
        return np.frombuffer(data, np.uint8).astype(int)

    assert (np.abs(pixels(plain) - pixels(told)) > 30).mean() > 0.5


def test_the_card_asks_once_and_hands_on_the_bit(qtbot, job):
    from PyQt6.QtCore import Qt
    from PyQt6.QtWidgets import QWidget

    parent = QWidget()
    qtbot.addWidget(parent)
    parent.resize(900, 600)
    parent.show()
    card = BitCard(DARK, parent)
    fresh = Job(work_of((0.8, 3), (1.0, 2)))
    guidance = fresh.see(off=(0, 0))
    card.offer(guidance.bit_change, guidance)
    assert card.isVisible() and card.size.text() == "0.8 mm"
    with qtbot.waitSignal(card.fitted, timeout=1000) as got:
        qtbot.keyClick(card, Qt.Key.Key_Space)
    assert got.args == [0.8]


def test_every_state_of_guidance_has_its_word_and_colours():
    from drillaid.guidance import guidance as g
    from ui.picture.figures import STATES, state_word

    states = {value for name, value in vars(g).items() if name.isupper() and isinstance(value, str)}
    states -= {g.CANNOT_VOUCH, g.NO_LAND}  # of an aim, not of the session
    assert set(STATES) == states
    assert len({state_word(state) for state in states}) == len(states)
