"""The card with what was measured of the table; kept only where the person says so."""

from __future__ import annotations

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtWidgets import QGridLayout, QLabel, QWidget

from calibration.table_job import TableJob
from ui.look.colours import Colours
from ui.picture.card import Card
from ui.words import tr


class TableFigures(Card):
    """accepted(TableJob): the figures are to be kept"""

    accepted = pyqtSignal(object)

    def __init__(self, colours: Colours, parent: QWidget) -> None:
        super().__init__(colours, parent)
        self._measured: TableJob | None = None
        self.title = self.label(tr("How the table moves"), name="title")
        self._grid = QGridLayout()
        self._grid.setHorizontalSpacing(16)
        self._grid.setColumnStretch(0, 1)
        self.cells: list[list[QLabel]] = []
        self.body.addLayout(self._grid)
        self.told = self.label()
        self.note = self.label(
            tr("± is one sigma. Repeatability is four sigmas, as ISO 230-2 has it, seen by the "
               "camera, whose own scatter counts in."), name="quiet",
        )  # fmt: skip
        self.add_button("", self._accept)
        self.add_button(tr("Do not keep it"), self.close_card)

    def offer(self, measured: TableJob, file: str) -> None:
        """file: of the rig, "" on the practice bench, where nothing is written"""
        self._measured = measured
        rows = [("", "X", "Y"), *measured.rows()]
        for row, texts in enumerate(rows):
            for column, text in enumerate(texts):
                self._cell(row, column).setText(tr(text) if text else "")
        self.told.setText("\n".join(f"{sentence}." if not sentence.endswith(".") else sentence
                                    for sentence in measured.sentences()))  # fmt: skip
        self.buttons[0].setText(
            tr("Write it into {file}  (space)", file=file) if file
            else tr("Use it on the practice bench  (space)")
        )  # fmt: skip
        self.open()

    def _cell(self, row: int, column: int) -> QLabel:
        while len(self.cells) <= row:
            self.cells.append([])
        cells = self.cells[row]
        while len(cells) <= column:
            made = QLabel()
            made.setAlignment(
                Qt.AlignmentFlag.AlignRight if cells else Qt.AlignmentFlag.AlignLeft
            )
            made.setWordWrap(not cells)  # beside the panel the card is narrow; figures stay whole
            self._grid.addWidget(made, row, len(cells))
            cells.append(made)
        return cells[column]

    def _accept(self) -> None:
        measured, self._measured = self._measured, None
        self.close_card()
        if measured is not None:
            self.accepted.emit(measured)
