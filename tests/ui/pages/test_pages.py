"""Boards done, settings and help: opened over the job and left again."""

from __future__ import annotations

import pytest
from PyQt6.QtCore import Qt
from support.drilled_board import drilled_bench, record_holes, small_job

from drillaid.guidance.job import board_details
from drillaid.inspection.check import check_board
from drillaid.inspection.filed import file_check
from drillaid.journal.resume import start
from ui.pages.boards import BoardsPage
from ui.pages.comfort import ComfortPage
from ui.pages.help import HelpPage
from ui.settings import load, settings_path


@pytest.fixture(scope="module")
def check(tmp_path_factory):
    job = small_job(tmp_path_factory.mktemp("small"))
    bench = drilled_bench(job, (10,))
    return check_board(job, bench.render(), bench.rig)


@pytest.fixture
def boards(window, check):
    """Two boards of one design in the journal, the second one measured."""
    job = check.job
    journal = window.job.open_journal()
    for _ in range(2):
        board = start(journal, job.design, job.work, **board_details(job, "0"))
        record_holes(journal, board, job, (10,))
    file_check(journal, board, check)
    return board


def test_a_page_is_opened_and_left_by_key(qtbot, window):
    assert {kind.name for kind in (BoardsPage, ComfortPage, HelpPage)} == set(window.pages)
    for key, name in (
        (Qt.Key.Key_F1, "help"),
        (Qt.Key.Key_F8, "boards"),
        (Qt.Key.Key_F9, "settings"),
    ):
        qtbot.keyClick(window, key)
        assert window.page is window.pages[name] is window.stack.currentWidget()
    qtbot.keyClick(window.page, Qt.Key.Key_Escape)
    assert window.page is None and window.stack.currentWidget() is window.stages["design"]
    qtbot.keyClick(window, Qt.Key.Key_F1)
    window.go("bench")
    assert window.page is None and window.at == "bench"


def test_files_dropped_on_a_page_are_read(qtbot, window, board_files):
    window.open_page("help")
    window.open_paths(board_files)
    qtbot.waitUntil(lambda: window.job.job is not None, timeout=20_000)
    assert window.page is None and window.at == "design"


def test_the_boards_done_stand_there_with_what_can_be_done(
    qtbot, window, boards, tmp_path, monkeypatch
):
    monkeypatch.setattr("ui.pages.boards.QDesktopServices.openUrl", lambda url: True)
    window.open_page("boards")
    page = window.pages["boards"]
    assert page.table.rowCount() == 2 and page.table.item(0, 0).text() == str(boards)
    assert page.table.item(0, 3).text() == "19 / 20"
    page.report_to(str(tmp_path / "report.pdf"))
    qtbot.waitUntil(lambda: "report.pdf" in window.line.text(), timeout=40_000)
    page.sheet_to(str(tmp_path / "sheet.svg"))
    qtbot.waitUntil(lambda: "sheet.svg" in window.line.text(), timeout=40_000)
    page.table.selectAll()
    page.buttons["compare"].click()
    assert "19 of 20" in page.words.text()
    page.export_to(str(tmp_path / "events.csv"))
    assert (tmp_path / "events.csv").read_text().startswith("board,at,event")
    page.table.clearSelection()
    page.table.selectRow(1)
    page.buttons["away"].click()
    assert window.job.open_journal().board(1).finished


def test_a_board_never_photographed_says_so(qtbot, window, boards, tmp_path):
    window.open_page("boards")
    page = window.pages["boards"]
    page.table.selectRow(1)
    page.report_to(str(tmp_path / "report.html"))
    qtbot.waitUntil(lambda: "never photographed" in page.words.text(), timeout=20_000)


def test_settings_hold_at_once_and_tomorrow(qtbot, window):
    window.open_page("settings")
    page = window.pages["settings"]
    page.theme.setCurrentIndex(1)
    page.size.setValue(13)
    page.left.setChecked(True)
    assert window.colours.name == "light" and window.job.settings.type_scale == 1.3
    kept = load(settings_path())
    assert (kept.theme, kept.type_scale, kept.left_handed) == ("light", 1.3, True)
    qtbot.keyClick(window, Qt.Key.Key_F10)
    assert page.theme.currentData() == "dark"
    page.aids.click()
    assert page.card.isVisible()
    qtbot.keyClick(page.card, Qt.Key.Key_Escape)
    assert not page.card.isVisible() and window.page is page


def test_help_names_the_keys_and_the_cautions(window):
    window.open_page("help")
    told = window.pages["help"].words.text()
    for words in ("Alt+1", "eye protection", "does not stop the drill", "OpenCV", "warranty"):
        assert words in told


@pytest.mark.parametrize("scale", [1.0, 1.8])
def test_pages_fit_on_a_small_screen(window, scale):
    window.job.remember(type_scale=scale)
    room = 1366 - 30 - window.way.minimumSizeHint().width()
    for page in (*window.pages.values(), window.stages["after"]):
        assert page.minimumSizeHint().width() <= room, page.name
        assert page.minimumSizeHint().height() <= 600


def test_a_left_handed_person_has_every_panel_on_the_other_side(qtbot, window):
    for stage in ("design", "bench", "finding", "drilling", "table", "after"):
        window.job.remember(left_handed=False)
        row = window.stages[stage].layout()
        assert row.direction() == row.Direction.LeftToRight, stage
        window.job.remember(left_handed=True)
        assert row.direction() == row.Direction.RightToLeft, stage
