"""The card with a measured table's figures: one answer, given once."""

from __future__ import annotations

import numpy as np
import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QWidget
from support.table_bench import QUICK, TableBench, setup_for

from calibration.table_job import measure
from calibration.table_tour import Plan, Tour
from drillaid.simulation.rigs import nominal_rig
from ui.look.colours import DARK
from ui.look.style import sheet
from ui.picture.table_figures import TableFigures


@pytest.fixture
def card(qtbot):
    behind = QWidget()
    qtbot.addWidget(behind)
    behind.setStyleSheet(sheet(DARK, 1.0))
    behind.resize(600, 760)  # narrower than beside the panel on a screen of 1366 x 768
    behind.show()
    yield TableFigures(DARK, behind)


def test_figures_with_their_sigmas_and_an_answer_that_counts_once(qtbot, card):
    bench = TableBench(setup=setup_for(QUICK, matrix=np.eye(2)))
    tour = Tour(bench.machine, bench.eye, nominal_rig(1280, 720, 0.1), bench.xy, Plan(3, 2))
    measured, kept = measure(bench.machine, tour), []
    card.accepted.connect(kept.append)
    card.offer(measured, "bench.toml")
    rows = [[cell.text() for cell in row] for row in card.cells]
    axes = measured.toured.axes
    assert rows[1][1] == f"{axes.scale[0]:.4f} ± {axes.matrix_sigma[0, 0]:.4f}"
    assert rows[2][2] == f"{axes.backlash_mm[1]:.3f} ± {axes.backlash_sigma_mm[1]:.3f}"
    for row in card.cells:  # no figure is cut off
        assert row[2].width() >= row[2].sizeHint().width()
        right = row[2].mapTo(card.panel, row[2].rect().topRight()).x()
        assert right <= card.panel.width() - 28
    assert "degrees from square" in card.told.text() and "one sigma" in card.note.text()
    qtbot.keyClick(card, Qt.Key.Key_Space)
    qtbot.keyClick(card, Qt.Key.Key_Space)
    card.buttons[0].click()
    assert kept == [measured] and not card.isVisible()
    card.offer(measured, "")
    assert len(card.cells) == len(rows) and "practice" in card.buttons[0].text()
    card.buttons[1].click()
    assert kept == [measured] and not card.isVisible()
