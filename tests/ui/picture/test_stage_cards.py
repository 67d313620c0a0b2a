from __future__ import annotations

import time
from dataclasses import replace

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QLabel, QWidget
from support.bench_job import Job, work_of

from drillaid.guidance.cautions import before_work
from drillaid.guidance.events import Skip
from drillaid.journal.journal import BoardRecord
from ui.job import JobState
from ui.look.colours import DARK
from ui.picture.aids_card import AidsCard, key_name
from ui.picture.stage_cards import CautionsCard, FinishedCard, UnfinishedCard
from ui.settings import Settings


@pytest.fixture
def stage(qtbot):
    made = QWidget()
    qtbot.addWidget(made)
    made.resize(1000, 640)
    made.show()
    qtbot.waitExposed(made)
    return made


def test_all_cautions_are_shown_and_agreed_to_with_space(qtbot, stage):
    card = CautionsCard(DARK, stage)
    card.open()
    words = " ".join(label.text() for label in card.findChildren(QLabel))
    assert all(caution.text in words for caution in before_work())
    with qtbot.waitSignal(card.agreed, timeout=1000):
        qtbot.keyClick(card, Qt.Key.Key_Space)
    assert not card.isVisible()


def test_a_board_that_was_begun_is_gone_on_with_or_not(qtbot, stage):
    board = BoardRecord(12, time.time(), time.time(), "a board", "0", 80, 34, 2, False)
    card = UnfinishedCard(DARK, stage)
    card.offer(board)
    assert card.title.text() == "Go on with board 12: 34 of 80 holes done"
    assert "2 holes were put aside" in card.told.text()
    with qtbot.waitSignal(card.go_on, timeout=1000) as got:
        qtbot.keyClick(card, Qt.Key.Key_Space)
    assert got.args == [12]
    card.offer(replace(board, skipped=0))
    with qtbot.waitSignal(card.begin_new, timeout=1000):
        qtbot.keyClick(card, Qt.Key.Key_N)


def test_the_end_offers_what_was_put_aside(qtbot, stage):
    job = Job(work_of((0.8, 2)))
    job.fit(0.8)
    job.act(Skip())
    guidance = job.act(Skip())
    card = FinishedCard(DARK, stage)
    card.offer(guidance)
    assert card.aside.isVisible() and "1, 2" in card.aside.text()
    with qtbot.waitSignal(card.check, timeout=1000):
        qtbot.keyClick(card, Qt.Key.Key_Space)


@pytest.fixture
def aids(qtbot, stage, tmp_path):
    made = AidsCard(JobState(Settings(), tmp_path), DARK, stage)
    made.offer()
    return made


def test_the_pedals_key_is_learnt_by_pressing_it(qtbot, aids):
    qtbot.mouseClick(aids.learn, Qt.MouseButton.LeftButton)
    assert "Press the pedal now" in aids.told.text()
    qtbot.keyClick(aids, Qt.Key.Key_Shift)
    assert aids.learning and aids.job.settings.pedal_key == 0
    qtbot.keyClick(aids, Qt.Key.Key_F13)
    assert aids.job.settings.pedal_key == Qt.Key.Key_F13
    assert key_name(Qt.Key.Key_F13) in aids.told.text()
    aids.forget.click()
    assert aids.job.settings.pedal_key == 0


def test_a_pedal_that_sends_space_is_learnt_and_closes_nothing(qtbot, aids):
    qtbot.mouseClick(aids.learn, Qt.MouseButton.LeftButton)
    qtbot.keyClick(aids, Qt.Key.Key_Space)
    assert aids.isVisible() and aids.job.settings.pedal_key == Qt.Key.Key_Space
    qtbot.keyClick(aids, Qt.Key.Key_Space)
    assert not aids.isVisible()


def test_the_volume_is_heard_while_it_is_set(qtbot, aids):
    with qtbot.waitSignal(aids.try_sound, timeout=1000):
        aids.volume.setValue(80)
    assert aids.job.settings.volume == pytest.approx(0.8)
    aids.seen.setChecked(True)
    aids.beat.setChecked(False)
    assert aids.job.settings.seen and not aids.job.settings.beat
