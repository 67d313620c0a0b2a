"""After the last hole: the check, the report, the record, the next board."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from PyQt6.QtCore import Qt, QUrl, pyqtSignal
from PyQt6.QtGui import QDesktopServices, QKeyEvent
from PyQt6.QtWidgets import (
    QFileDialog,
    QFrame,
    QGridLayout,
    QLabel,
    QPushButton,
    QStackedWidget,
    QVBoxLayout,
)

from drillaid.errors import DrillaidError, StorageError
from drillaid.inspection.agreement import Agreement, agreement
from drillaid.inspection.check import Check, check_board
from drillaid.inspection.drawn import Drawn, drawn
from drillaid.inspection.filed import file_check, write_board_report
from drillaid.journal.journal import Journal, holes_now
from drillaid.rig.pictures import read_picture
from ui.job import PRACTICE, JobState
from ui.look.colours import Colours
from ui.picture.check_picture import CheckPicture
from ui.running.background import Background
from ui.running.guiding import Sight
from ui.stages.check_words import LINK, check_html
from ui.stages.guided import GuidedStage
from ui.stages.tall_scroll import TallScroll
from ui.way import Standing
from ui.words import tr


@dataclass(frozen=True, eq=False)
class Looked:
    """What one look gave. report: where it was written; trouble: why it or the record was not"""

    check: Check
    drawn: Drawn | None = None
    agreement: Agreement | None = None
    report: Path | None = None
    trouble: str = ""


class AfterStage(GuidedStage):
    """A live picture until it is photographed; then what was made of the board."""

    name = "after"
    _photographed = pyqtSignal(object)

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__(job, colours)
        self.looked: Looked | None = None
        self._board: int | None = None
        self.picture.aiming = False
        self.checking = Background(self)
        self.checking.done.connect(self._show)
        self.checking.failed.connect(self._failed)
        self._photographed.connect(self._look)
        self._build()

    def _build(self) -> None:
        self.result = CheckPicture(self.colours)
        self.field = QStackedWidget()
        self.field.addWidget(self.picture)
        self.field.addWidget(self.result)
        self.title = QLabel()
        self.title.setObjectName("title")
        self.title.setWordWrap(True)
        self.message = QLabel()
        self.message.setWordWrap(True)
        self.words = QLabel()
        self.words.setTextFormat(Qt.TextFormat.RichText)
        self.words.setWordWrap(True)
        self.words.setAlignment(Qt.AlignmentFlag.AlignTop)
        flags = Qt.TextInteractionFlag
        self.words.setTextInteractionFlags(
            flags.LinksAccessibleByMouse | flags.LinksAccessibleByKeyboard
        )
        self.words.linkActivated.connect(self._to_hole)
        self.scroll = TallScroll()
        self.scroll.column.addWidget(self.message)
        self.scroll.column.addWidget(self.words)
        self.scroll.column.addStretch(1)
        self.take = _button(tr("Photograph  (C)"), self._take_picture)
        self.file = _button(tr("From a file …"), self._from_file)
        self.open = _button(tr("Report  (R)"), self._open_report)
        self.save = _button(tr("Save as …"), self._save_report)
        self.next = _button(tr("Next board  (N)"), self._next)
        grid = QGridLayout()
        grid.addWidget(self.take, 0, 0)
        grid.addWidget(self.file, 0, 1)
        grid.addWidget(self.open, 1, 0)
        grid.addWidget(self.save, 1, 1)
        grid.addWidget(self.next, 2, 0, 1, 2)
        panel = QFrame()
        panel.setObjectName("panel")
        side = QVBoxLayout(panel)
        side.addWidget(self.title)
        side.addWidget(self.scroll, 1)
        side.addLayout(grid)
        self.lay_out(self.field, panel, (5, 4))

    @staticmethod
    def standing(job: JobState) -> Standing:
        if job.board is None:
            return Standing(why=tr("Nothing has been drilled yet"))
        return Standing()

    # -- life --------------------------------------------------------------------------

    def enter(self) -> None:
        if self.looked is not None and self._board == self.job.board:
            self._offer()
        else:
            self._live()
        self.setFocus()

    def leave(self) -> None:
        super().leave()
        if self.checking.busy:
            self.checking.close()

    def _live(self) -> None:
        self.looked, self._board = None, self.job.board
        self.field.setCurrentWidget(self.picture)
        self.title.setText(tr("Check board {n}", n=self.job.board))
        self.message.setText(tr("Raise the bit and stop the drill. Brush the dust off, lay the "
                                "whole board in view, hands away, and photograph it."))  # fmt: skip
        self.words.setText("")
        self._offer()
        super().enter()

    def show_sight(self, sight: Sight, guidances: list) -> None:  # noqa: ARG002
        self.picture.show_sight(sight.image, sight.scene, over=sight.trouble or "")

    def show_failure(self, sentence: str) -> None:
        """Photographing once more opens the camera again; a file does as well."""
        super().show_failure(sentence)
        super().leave()

    def next_word(self) -> str:
        return "" if self.looked is None else self.looked.check.message

    def _offer(self) -> None:
        """What can be pressed, and what is meant next."""
        done = self.looked is not None and self.looked.check.inspection is not None
        live = self.looked is None
        self.take.setText(tr("Photograph  (C)") if live else tr("Once more  (C)"))
        for button, main in ((self.take, live), (self.next, not live)):
            button.setObjectName("go" if main else "")
            button.style().polish(button)
        self.take.setEnabled(not self.checking.busy)
        self.file.setEnabled(not self.checking.busy)
        self.open.setEnabled(done and self.looked.report is not None)
        self.save.setEnabled(done)

    # -- looking -----------------------------------------------------------------------

    def _take_picture(self) -> None:
        if self.looked is not None or self.thread is None:
            self._live()
            return

        def copy(live) -> None:
            image = None if live.frame is None else live.frame.image.copy()
            self._photographed.emit(image)

        self.thread.call(copy)

    def _from_file(self) -> None:
        path, _ = QFileDialog.getOpenFileName(self, tr("Photograph of the drilled board"))
        if path:
            self.look_at_file(path)

    def look_at_file(self, path: str) -> None:
        """As if it had just been taken."""
        try:
            self._look(read_picture(path))
        except DrillaidError as error:
            self._failed(str(error))

    def _look(self, image: np.ndarray | None) -> None:
        if image is None:
            self.told.emit(tr("There is no picture yet."))
            return
        self.title.setText(tr("Measuring …"))
        job, rig, board = self.job.job, self.job.bench.rig, self.job.board
        simulated = self.job.bench.source == PRACTICE
        journal = self.job.open_journal()
        thread, self.thread = self.thread, None
        close_camera = self.job.part_with_camera()

        def work() -> Looked:
            if thread is not None:
                thread.close()  # waits for the picture it is at, which the window need not do
                thread.deleteLater()
            close_camera()
            return look(job, image, rig, journal, board, simulated=simulated)

        self.checking.start(work)
        self._offer()

    def _show(self, looked: Looked) -> None:
        check = looked.check
        if check.inspection is None:
            self.title.setText(tr("The board was not found"))
            self.message.setText(check.message)
            self.looked = None
            self._offer()
            super().enter()
            return
        self.looked = looked
        self.title.setText(_verdict(check))
        told = [check.message]
        if looked.agreement is not None and not looked.agreement.ok:
            told.append("▲ " + looked.agreement.sentence)
        if looked.trouble:
            told.append("▲ " + looked.trouble)
        self.message.setText("\n".join(told))
        self.words.setText(check_html(check.inspection, self.colours.quiet, self.colours.key))
        self.result.show_check(looked.drawn)
        self.field.setCurrentWidget(self.result)
        self.scroll.to_top()
        self._offer()
        where = tr("The report is in {path}.", path=looked.report) if looked.report else ""
        self.told.emit(where)

    def _failed(self, sentence: str) -> None:
        self.title.setText(tr("It could not be measured"))
        self.message.setText(sentence)
        self._offer()
        self.told.emit(sentence)

    def _to_hole(self, link: str) -> None:
        if link.startswith(LINK):
            self.result.look_at(int(link.removeprefix(LINK)))

    # -- the report and the next board ---------------------------------------------------

    def _open_report(self) -> None:
        if self.looked is None or self.looked.report is None:
            return
        if not QDesktopServices.openUrl(QUrl.fromLocalFile(str(self.looked.report))):
            self.told.emit(tr("No program opens it here; it is {path}.", path=self.looked.report))

    def _save_report(self) -> None:
        if self.looked is None:
            return
        name = f"{self.job.job.name}-board-{self._board}.html"
        path, _ = QFileDialog.getSaveFileName(
            self, tr("The report"), name, "HTML (*.html);;PDF (*.pdf)"
        )
        if path:
            self.save_report_as(path)

    def save_report_as(self, path: str) -> None:
        """HTML, or PDF where the name says so."""
        simulated = self.job.bench.source == PRACTICE
        try:
            write_board_report(path, self.job.open_journal(), self._board, self.looked.check,
                               simulated=simulated)  # fmt: skip
        except DrillaidError as error:
            self.told.emit(str(error))
            return
        self.told.emit(tr("Written: {path}", path=path))

    def _next(self) -> None:
        self.looked = None
        self.job.next_board()
        self.wants.emit("finding")

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        doing = {
            Qt.Key.Key_C: self.take, Qt.Key.Key_F: self.file, Qt.Key.Key_R: self.open,
            Qt.Key.Key_N: self.next,
        }.get(Qt.Key(event.key()))  # fmt: skip
        if doing is not None:
            doing.click()
        elif event.key() in (Qt.Key.Key_Plus, Qt.Key.Key_Minus):
            self.result.zoom_by(1.4 if event.key() == Qt.Key.Key_Plus else 1 / 1.4)
        else:
            super().keyPressEvent(event)


def look(job, image, rig, journal: Journal, board: int, *, simulated: bool) -> Looked:
    """Off the UI thread: measured, put on file, and the report written beside the journal."""
    check = check_board(job, image, rig)
    if check.inspection is None:
        return Looked(check)
    done, _ = holes_now(journal.events(board))
    agreed = agreement(done, check.inspection.holes)
    report, trouble = None, ""
    try:
        file_check(journal, board, check)
        folder = journal.path.parent / "reports"
        folder.mkdir(parents=True, exist_ok=True)
        report = write_board_report(
            folder / f"board-{board}.html", journal, board, check, simulated=simulated
        )
    except StorageError as error:
        trouble = str(error)
    except OSError as error:
        trouble = tr("The report could not be written ({why}).", why=error.strerror or error)
    return Looked(check, drawn(check), agreed, report, trouble)


def _verdict(check: Check) -> str:
    s = check.inspection.summary
    failing = s.parts - s.parts_fitting - s.parts_unknown
    if s.undrilled:
        return tr("✗ Not drilled: {n} of {all} holes", n=s.undrilled, all=s.holes)
    if failing:
        return tr("✗ Parts that do not go in: {n} of {all}", n=failing, all=s.parts)
    if s.hidden or s.parts_unknown:
        return tr("? Not all could be seen")
    return tr("✓ All holes drilled, all parts go in") if s.parts else tr("✓ All holes drilled")


def _button(words: str, slot) -> QPushButton:
    made = QPushButton(words)
    made.clicked.connect(slot)
    return made
