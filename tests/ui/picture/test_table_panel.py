from __future__ import annotations

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QWidget

from drillaid.guidance.progress import Progress
from drillaid.table import job as j
from ui.look.colours import DARK
from ui.picture.table_card import TableCard
from ui.picture.table_panel import TablePanel
from ui.running.table_running import STANDING, TableSight


@pytest.fixture
def panel(qtbot, small_job):
    made = TablePanel(DARK)
    qtbot.addWidget(made)
    made.show_job(small_job)
    made.show()
    return made


def sight(job, state, view=None):
    return TableSight(state, view, None, None, False, Progress.start(job.work), (12.0, 3.5))


def test_arrows_jog_by_the_step_chosen_and_only_while_it_stands(qtbot, panel, small_job):
    panel.show_sight(sight(small_job, "apart"), standing=False)
    assert not any(arrow.isEnabled() for arrow, _, _ in panel.arrows)
    panel.show_sight(sight(small_job, STANDING), standing=True)
    moved = []
    panel.jog.connect(lambda dx, dy: moved.append((dx, dy)))
    panel.step.setCurrentIndex(2)
    for arrow, _, _ in panel.arrows:
        arrow.click()
    assert moved == [(0, 10), (-10, 0), (10, 0), (0, -10)]


def test_while_it_works_only_what_counts_is_shown_and_the_stop_always(panel, small_job):
    view = j.JobView(j.DRILLING, "Drilling hole 3.", 0.0, hole=3, bit_mm=0.8)
    panel.show_sight(sight(small_job, j.DRILLING, view), standing=False)
    assert not panel.before.isVisible() and panel.halt.isVisible() and panel.halt.isEnabled()
    assert panel.hole.text() == "Hole 3" and "Drilling" in panel.sentence.text()
    panel.show_sight(sight(small_job, STANDING, view), standing=True)
    assert panel.before.isVisible() and panel.halt.isVisible()


def test_a_search_keeps_the_port_that_was_typed(panel):
    panel.port.setCurrentText("socket://127.0.0.1:5333")
    panel.show_ports([("/dev/ttyUSB0", "a converter"), ("/dev/ttyACM0", "another")])
    assert panel.port.currentText() == "socket://127.0.0.1:5333" and panel.port.count() == 2


def test_the_card_says_what_is_asked_and_answers_once(qtbot):
    under = QWidget()
    qtbot.addWidget(under)
    under.resize(900, 700)
    under.show()
    card = TableCard(DARK, under)
    agreed = []
    card.agreed.connect(lambda: agreed.append(1))
    card.offer(j.CHANGE_BIT, "Fit the 1.3 mm bit", j.bit_cautions(1.3), 1.3)
    assert "1.3" in card.size.text() and "by themselves" in card.cautions.text()
    qtbot.keyClick(card, Qt.Key.Key_Space)
    qtbot.keyClick(card, Qt.Key.Key_Space)
    assert agreed == [1]
    card.offer(j.LEVER, "Pull the lever for hole 2", (), 1.3)
    assert not card.size.isVisible() and "lever" in card.buttons[0].text()
