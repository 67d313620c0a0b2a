"""The cards of the drilling stage beside the bit's: cautions, an unfinished board, the end."""

from __future__ import annotations

from datetime import datetime

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtWidgets import QWidget

from drillaid.guidance.cautions import NOTICE, before_work
from drillaid.guidance.guidance import Guidance
from drillaid.inspection.agreement import Agreement
from drillaid.journal.journal import BoardRecord
from ui.look.colours import Colours
from ui.picture.card import Card
from ui.words import day, tr


class CautionsCard(Card):
    """agreed(): read; shown once for each start of the program."""

    agreed = pyqtSignal()

    def __init__(self, colours: Colours, parent: QWidget) -> None:
        super().__init__(colours, parent)
        self.label(tr("Before you drill"), "title")
        for caution in before_work():
            sign = "" if caution.severity == NOTICE else "⚠ "
            self.label(f"{sign}{caution}")
        self.add_button(tr("I have read this  (space)"), self._agree)

    def _agree(self) -> None:
        self.close_card()
        self.agreed.emit()


class UnfinishedCard(Card):
    """go_on(board): as the record has it; begin_new(): the record of the other one stays."""

    go_on = pyqtSignal(int)
    begin_new = pyqtSignal()

    def __init__(self, colours: Colours, parent: QWidget) -> None:
        super().__init__(colours, parent)
        self._board = 0
        self.title = self.label(name="title")
        self.told = self.label()
        self.add_button("", self._go_on)
        self.add_button(tr("No: this is a new board  (N)"), self._begin_new)

    def offer(self, board: BoardRecord) -> None:
        self._board = board.id
        self.title.setText(
            tr("Go on with board {n}: {done} of {all} holes done", n=board.id, done=board.done,
               all=board.holes)
        )  # fmt: skip
        told = tr("It was left {day}.", day=day(datetime.fromtimestamp(board.last_at)))
        if board.skipped:
            told += " " + tr("{n} holes were put aside.", n=board.skipped)
        told += " " + tr("Is this the board that lies under the camera? Look at its holes.")
        self.told.setText(told)
        self.buttons[0].setText(tr("Yes, go on with board {n}  (space)", n=board.id))
        self.open()

    def keyPressEvent(self, event) -> None:  # noqa: N802
        if event.key() == Qt.Key.Key_N:
            self._begin_new()
        else:
            super().keyPressEvent(event)

    def _go_on(self) -> None:
        self.close_card()
        self.go_on.emit(self._board)

    def _begin_new(self) -> None:
        self.close_card()
        self.begin_new.emit()


class RecordCard(Card):
    """Record and board differ, and a person decides. keep(): the record stands; as_seen(): it is
    put right by what was seen; another(): another board lies there."""

    keep = pyqtSignal()
    as_seen = pyqtSignal()
    another = pyqtSignal()

    def __init__(self, colours: Colours, parent: QWidget) -> None:
        super().__init__(colours, parent)
        self.label(tr("Record and board differ"), "title")
        self.told = self.label()
        self.add_button(tr("The record stands  (space)"), self.keep.emit)
        self.add_button(tr("Put the record right as seen  (B)"), self.as_seen.emit)
        self.add_button(tr("Another board lies there: begin a new one  (N)"), self.another.emit)

    def offer(self, differs: Agreement) -> None:
        if self.told.text() != differs.sentence:
            self.told.setText(differs.sentence)
        self.open()

    def keyPressEvent(self, event) -> None:  # noqa: N802
        if event.key() == Qt.Key.Key_B:
            self.as_seen.emit()
        elif event.key() == Qt.Key.Key_N:
            self.another.emit()
        else:
            super().keyPressEvent(event)


class FinishedCard(Card):
    """check(): on to the next stage; revisit(): the holes put aside are taken back; look(): the
    card goes, and take-back still works."""

    check = pyqtSignal()
    revisit = pyqtSignal()

    def __init__(self, colours: Colours, parent: QWidget) -> None:
        super().__init__(colours, parent)
        self.title = self.label(tr("Nothing is left to drill"), "title")
        self.told = self.label()
        self.add_button(tr("Check the board  (space)"), self.check.emit)
        self.aside = self.add_button("", self.revisit.emit)
        self.add_button(tr("Back to the picture  (Esc)"), self.close_card)

    def offer(self, guidance: Guidance) -> None:
        tally = guidance.progress
        self.told.setText(
            tr("{done} of {all} holes are drilled. Switch the drill off, and let it stop before "
               "you reach under it.", done=tally.done, all=tally.holes)
        )  # fmt: skip
        self.aside.setVisible(bool(guidance.skipped))
        numbers = ", ".join(map(str, guidance.skipped[:8]))
        more = " …" if len(guidance.skipped) > 8 else ""
        self.aside.setText(tr("First those put aside: {holes}", holes=numbers + more))
        self.open()

    def keyPressEvent(self, event) -> None:  # noqa: N802
        if event.key() == Qt.Key.Key_Escape:
            self.close_card()
        else:
            super().keyPressEvent(event)
