from __future__ import annotations

import pytest
from PyQt6.QtCore import QRectF, Qt
from PyQt6.QtGui import QFont, QImage, QPainter
from PyQt6.QtWidgets import QLineEdit, QWidget
from support.bench_job import Job, work_of

from drillaid.guidance.events import Confirm, Skip
from ui.look.colours import DARK
from ui.look.style import sheet
from ui.picture.bit_card import BitCard
from ui.picture.card import USUAL, Card
from ui.picture.fitted import FittedLabel, fitted_font
from ui.picture.key_button import KeyButton


@pytest.fixture
def stage(qtbot):
    made = QWidget()
    qtbot.addWidget(made)
    made.resize(900, 620)
    made.show()
    qtbot.waitExposed(made)
    return made


@pytest.mark.parametrize("scale", [0.8, 1.0, 1.8])
def test_nothing_a_card_says_is_cut_off(qtbot, stage, scale):
    stage.setStyleSheet(sheet(DARK, scale))
    card = BitCard(DARK, stage)
    guidance = Job(work_of((0.8, 3), (1.0, 2))).see(off=(0, 0))
    card.offer(guidance.bit_change, guidance)
    qtbot.wait(20)
    for label in (card.size, card.told, card.cautions):
        assert label.height() >= label.heightForWidth(label.width()) > 0
    panel = card.panel.geometry()
    assert stage.rect().contains(panel)
    assert abs(panel.center().x() - stage.rect().center().x()) <= 1
    assert card.geometry() == stage.rect()


def test_the_card_keeps_the_keyboard(qtbot, stage):
    line = QLineEdit(stage)
    line.show()
    card = BitCard(DARK, stage)
    guidance = Job(work_of((0.8, 3))).see(off=(0, 0))
    line.setFocus()
    card.offer(guidance.bit_change, guidance)
    for _ in range(5):  # every picture offers it again
        card.offer(guidance.bit_change, guidance)
    line.setFocus()
    with qtbot.waitSignal(card.fitted, timeout=1000):
        qtbot.keyClick(stage.window().focusWidget(), Qt.Key.Key_Space)
    assert line.text() == ""


def test_another_bit_asks_for_the_count_and_for_what_was_put_aside(qtbot, stage):
    job = Job(work_of((0.8, 3), (1.0, 2)))
    job.fit(0.8)
    for _ in range(2):
        job.hold()
        job.act(Confirm())
    job.see()
    guidance = job.act(Skip())
    card = BitCard(DARK, stage)
    card.offer(guidance.bit_change, guidance)
    assert card.count.text() == "Count on the board: 2 holes of 0.8 mm so far"
    assert card.back.isVisible() and card.aside.isVisible()
    with qtbot.waitSignal(card.revisit, timeout=1000) as got:
        card.aside.click()
    assert got.args == [3]


def test_text_is_made_smaller_rather_than_cut(qtbot):
    image = QImage(200, 60, QImage.Format.Format_RGB32)
    painter = QPainter(image)
    box = QRectF(0, 0, 200, 60)
    flags = int(Qt.TextFlag.TextWordWrap)
    long = "Hold the board with a clamp or jig, keep fingers out of the bit's way."
    font = fitted_font(painter, QFont(), 40, long, box, flags)
    painter.setFont(font)
    told = painter.boundingRect(box, flags, long)
    painter.end()
    assert font.pixelSize() < 40
    assert told.height() <= 60


def test_a_sentence_that_changes_moves_nothing(qtbot):
    label = FittedLabel(DARK, lines=2)
    qtbot.addWidget(label)
    empty = label.sizeHint()
    label.setText("Part of the board agrees and part does not. " * 4)
    assert label.sizeHint() == empty
    assert label.text() == label.accessibleName()


def test_a_key_button_shows_its_key_and_is_pressed(qtbot):
    button = KeyButton(DARK, "Put aside", "S")
    qtbot.addWidget(button)
    button.resize(120, 56)
    button.show()
    blank = KeyButton(DARK, "Put aside", "")
    qtbot.addWidget(blank)
    blank.resize(120, 56)
    assert button.grab().toImage() != blank.grab().toImage()
    with qtbot.waitSignal(button.clicked, timeout=1000):
        qtbot.mouseClick(button, Qt.MouseButton.LeftButton)


def test_a_low_card_grows_broader_before_it_is_scrolled_for(qtbot, stage):
    stage.resize(1400, 700)
    card = Card(DARK, stage)
    words = card.label("Switch the drill off and let it stop before you touch it. " * 16)
    card.open()
    qtbot.wait(20)
    assert card.panel.width() == USUAL
    needed = card.panel.height()
    stage.resize(1400, needed)
    card.settle()
    qtbot.wait(20)
    assert USUAL < card.panel.width() <= 1400
    assert words.height() >= words.heightForWidth(words.width())


def test_a_card_is_as_broad_as_what_cannot_wrap(qtbot, stage):
    stage.resize(1300, 600)
    card = Card(DARK, stage)
    plain = card.label("a table's row, which stays on one line " * 4)
    plain.setWordWrap(False)
    card.open()
    qtbot.wait(20)
    assert card.panel.width() > USUAL and plain.width() >= plain.sizeHint().width()
