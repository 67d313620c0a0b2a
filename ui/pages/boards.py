"""Boards done: the record of this and earlier boards, with their reports, sheets and exports."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path

from PyQt6.QtCore import Qt, QUrl
from PyQt6.QtGui import QDesktopServices
from PyQt6.QtWidgets import (
    QAbstractItemView,
    QFileDialog,
    QGridLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
)

from drillaid.errors import DrillaidError, StorageError
from drillaid.files import write_whole
from drillaid.inspection.batch import write_batch
from drillaid.inspection.filed import check_again, write_board_report
from drillaid.inspection.true_sheet import true_sheet, write_sheet
from drillaid.journal.compare import compare, compare_text
from drillaid.journal.journal import BoardRecord
from drillaid.journal.tables import csv_text
from ui.job import JobState
from ui.look.colours import Colours
from ui.pages.page import Page
from ui.running.background import Background
from ui.words import day, tr

_HEADS = (tr("Board"), tr("Begun"), tr("Design"), tr("Holes"), tr("State"))
_REPORT = "HTML (*.html);;PDF (*.pdf)"


class BoardsPage(Page):
    """One row a board, the newest first; what the buttons do is done for the rows chosen."""

    name = "boards"

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__(job, colours, tr("Boards done"))
        self.boards: list[BoardRecord] = []
        self.work = Background(self)
        self.work.done.connect(self._written)
        self.work.failed.connect(self._failed)
        self.table = QTableWidget(0, len(_HEADS))
        self.table.setHorizontalHeaderLabels(_HEADS)
        self.table.verticalHeader().hide()
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setTabKeyNavigation(False)
        self.table.setShowGrid(False)
        self.table.setAccessibleName(tr("Boards done"))
        self.table.itemSelectionChanged.connect(self._chosen_changed)
        self.words = QLabel()
        self.words.setWordWrap(True)
        self.words.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.body.addWidget(self.table, 1)
        self.body.addWidget(self.words)
        grid = QGridLayout()
        self.buttons: dict[str, QPushButton] = {}
        for k, (name, words, slot) in enumerate((
            ("report", tr("Report …"), self._report),
            ("sheet", tr("True-scale sheet …"), self._sheet),
            ("export", tr("Events as CSV …"), self._export),
            ("compare", tr("Compare"), self._compare),
            ("away", tr("Put away"), self._put_away),
        )):  # fmt: skip
            button = QPushButton(words)
            button.clicked.connect(slot)
            self.buttons[name] = button
            grid.addWidget(button, k // 2, k % 2)
        self.foot.addLayout(grid)

    # -- the list -----------------------------------------------------------------------

    def enter(self) -> None:
        self._fill()
        self.table.setFocus()

    def leave(self) -> None:
        self.work.forget()

    def _fill(self) -> None:
        try:
            journal = self.job.open_journal()
            self.boards = journal.boards()
        except StorageError as error:
            self.boards = []
            self._failed(str(error))
        self.table.setRowCount(len(self.boards))
        for row, board in enumerate(self.boards):
            state = tr("finished") if board.finished else tr("unfinished")
            cells = (str(board.id), day(datetime.fromtimestamp(board.started_at)),
                     board.design_name, f"{board.done} / {board.holes}", state)  # fmt: skip
            for column, text in enumerate(cells):
                self.table.setItem(row, column, QTableWidgetItem(text))
        header = self.table.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(2, QHeaderView.ResizeMode.Stretch)
        self.table.resizeRowsToContents()
        if self.boards:
            self.table.selectRow(0)
        else:
            self.words.setText(tr("No board has been drilled yet."))
        self._offer()

    def chosen(self) -> list[BoardRecord]:
        """Of the rows marked, from the top."""
        rows = sorted({index.row() for index in self.table.selectedIndexes()})
        return [self.boards[row] for row in rows if row < len(self.boards)]

    def _chosen_changed(self) -> None:
        chosen = self.chosen()
        if len(chosen) == 1:
            board = chosen[0]
            told = tr("Board {n}: {done} of {all} holes drilled, {aside} put aside.", n=board.id,
                      done=board.done, all=board.holes, aside=board.skipped)  # fmt: skip
            if board.simulated:
                told += " " + tr("On the simulated bench.")
            self.words.setText(told)
        elif chosen:
            self.words.setText(tr("{n} boards chosen", n=len(chosen)))
        self._offer()

    def _offer(self) -> None:
        chosen, busy = self.chosen(), self.work.busy
        one = len(chosen) == 1
        self.buttons["report"].setText(tr("Report …") if len(chosen) < 2 else tr("Batch report …"))
        self.buttons["report"].setEnabled(bool(chosen) and not busy)
        self.buttons["sheet"].setEnabled(one and not busy)
        self.buttons["export"].setEnabled(bool(chosen))
        self.buttons["compare"].setEnabled(len(chosen) > 1)
        current = one and chosen[0].id == self.job.board
        self.buttons["away"].setEnabled(one and not chosen[0].finished and not current)

    # -- what is done with them -----------------------------------------------------------

    def _report(self) -> None:
        chosen = self.chosen()
        path, _ = QFileDialog.getSaveFileName(
            self, tr("The report"), _name(chosen, "html"), _REPORT
        )
        if path:
            self.report_to(path)

    def report_to(self, path: str) -> None:
        """Of the board chosen, or over all that are."""
        chosen, journal = self.chosen(), self.job.open_journal()

        def work() -> Path:
            if len(chosen) > 1:
                return write_batch(path, journal, [board.id for board in chosen])
            check = check_again(journal, chosen[0].id)
            return write_board_report(
                path, journal, chosen[0].id, check, simulated=chosen[0].simulated
            )

        self._start(work)

    def _sheet(self) -> None:
        name = _name(self.chosen(), "pdf")
        path, _ = QFileDialog.getSaveFileName(
            self, tr("The true-scale sheet"), name, "PDF (*.pdf);;SVG (*.svg)"
        )
        if path:
            self.sheet_to(path)

    def sheet_to(self, path: str) -> None:
        """Seen from the parts' side; the command line has the other ways."""
        board, journal = self.chosen()[0], self.job.open_journal()

        def work() -> Path:
            check = check_again(journal, board.id)
            write_sheet(true_sheet(check), path, f"{check.job.name}, board {board.id}")
            return Path(path)

        self._start(work)

    def _start(self, work: Callable[[], Path]) -> None:
        self.told.emit(tr("Writing …"))
        self.work.start(work)
        self._offer()

    def _export(self) -> None:
        path, _ = QFileDialog.getSaveFileName(
            self, tr("Events"), _name(self.chosen(), "csv"), "CSV (*.csv)"
        )
        if path:
            self.export_to(path)

    def export_to(self, path: str) -> None:
        """What happened to the boards chosen, one event a line."""
        try:
            journal = self.job.open_journal()
            events = {board.id: journal.events(board.id) for board in self.chosen()}
            write_whole(path, csv_text(events) + "\n")
        except DrillaidError as error:
            self._failed(str(error))
            return
        self.told.emit(tr("Written: {path}", path=path))

    def _compare(self) -> None:
        try:
            rows = compare(self.job.open_journal(), [board.id for board in self.chosen()])
        except DrillaidError as error:
            self._failed(str(error))
            return
        text = compare_text(rows).replace("&", "&amp;").replace("<", "&lt;")
        self.words.setText(f"<pre>{text}</pre>")

    def _put_away(self) -> None:
        try:
            self.job.open_journal().put_away(self.chosen()[0].id, tr("put away by hand"))
        except DrillaidError as error:
            self._failed(str(error))
        self._fill()

    def _written(self, path: Path) -> None:
        self._offer()
        self.told.emit(tr("Written: {path}", path=path))
        QDesktopServices.openUrl(QUrl.fromLocalFile(str(path)))

    def _failed(self, sentence: str) -> None:
        self._offer()
        self.words.setText(sentence)
        self.told.emit(sentence)


def _name(chosen: list[BoardRecord], ending: str) -> str:
    """A file's name that says which boards."""
    return "-".join(["board", *(str(board.id) for board in chosen[:6])]) + f".{ending}"
