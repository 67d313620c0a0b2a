"""What has to be printed: the test board and the reference marks; and what its bar measures."""

from __future__ import annotations

from PyQt6.QtWidgets import QComboBox, QFileDialog, QFormLayout, QLineEdit

from calibration.pattern import SQUARE_MM as SQUARES_MM
from calibration.pattern import Pattern, parse_counts
from calibration.sheet.board import Place, largest_pattern, test_board
from calibration.sheet.marks import marks_sheet
from calibration.sheet.paper import PAPERS_MM, paper_mm
from calibration.sheet.write import write_sheet
from drillaid.errors import DrillaidError
from ui.calibrating.page import Page, button, label, millimetres
from ui.words import mm, number, tr

SQUARE_MM = 10.0
PAPERS = ("A4", "Letter", "A3", "Tabloid", "A5")


class SheetPage(Page):
    """The printed test board is what lens and bench plane are measured with."""

    name = "sheet"
    title = tr("Sheets to print")

    def build(self) -> None:
        self.paper = QComboBox()
        for name in PAPERS:
            width, height = sorted(PAPERS_MM[name], reverse=True)
            self.paper.addItem(f"{name}, {number(width, 0)} × {number(height, 0)} mm", name)
        self.paper.setAccessibleName(tr("Paper"))
        self.board = button(tr("Save the test board …"), lambda: self._save("board"), go=True)
        self.marks = button(tr("Save the reference marks …"), lambda: self._save("marks"))
        self.sheet = label()
        self.bar = millimetres(0.0, 200.0)
        self.bar.setSpecialValueText(tr("not measured"))
        self.bar.valueChanged.connect(self._measured)
        self.squares = QLineEdit()
        self.squares.setToolTip(tr("Across and down, as the sheet says, such as 26x16"))
        self.squares.editingFinished.connect(self._drawn)
        self.square = millimetres(*SQUARES_MM)
        self.square.valueChanged.connect(lambda _: self._drawn())
        form = QFormLayout()
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        form.addRow(tr("Paper"), self.paper)
        bar_form = QFormLayout()
        bar_form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        bar_form.addRow(tr("Its squares"), self.squares)
        bar_form.addRow(tr("One is drawn"), self.square)
        bar_form.addRow(tr("Ruler bar measures"), self.bar)
        self.add(
            form, self.board, self.marks,
            label(tr("Print at 100 %, never \"fit to page\". Glue the test board flat onto "
                     "something stiff, such as glass. With the drill switched off, stick four "
                     "marks flat on its table, wide apart, where nothing covers them.")),
            self.sheet, bar_form, self.words,
        )  # fmt: skip
        self.keys(self.back_key())

    def enter(self) -> None:
        self.say("")
        self._show()

    def _show(self) -> None:
        drawn = self.rig.drawn()
        self.sheet.setText(tr("Then measure the black ruler bar with callipers: it was drawn "
                              "{b} long. {sheet}", b=mm(drawn.bar_mm, 0),
                              sheet=self.rig.sheet_words()))  # fmt: skip
        for field in (self.bar, self.square, self.squares):
            field.setEnabled(not self.rig.practising)
            field.blockSignals(True)
        self.bar.setValue(self.rig.bar_mm)
        self.square.setValue(drawn.square_mm)
        self.squares.setText(f"{drawn.columns}x{drawn.rows}")
        for field in (self.bar, self.square, self.squares):
            field.blockSignals(False)

    def _save(self, which: str) -> None:
        name = "test-board.pdf" if which == "board" else "reference-marks.pdf"
        path, _ = QFileDialog.getSaveFileName(self, tr("Save as"), name, tr("PDF (*.pdf)"))
        if path:
            self.save(which, path if path.lower().endswith(".pdf") else f"{path}.pdf")

    def save(self, which: str, path: str) -> None:
        """Draws and writes it beside the window. which: "board" or "marks" """
        size_mm = paper_mm(self.paper.currentData())

        def work():
            if which == "marks":
                return write_sheet(marks_sheet(*size_mm), path)[0], None
            place = Place(*size_mm)
            pattern = largest_pattern(SQUARE_MM, place)
            return write_sheet(test_board(pattern, place), path)[0], pattern

        self.start(work, tr("Drawing …"))

    def finished(self, result) -> None:
        path, pattern = result
        if pattern is not None:
            squares = f"{pattern.columns}x{pattern.rows}"
            self.rig.job.remember(squares=squares, square_mm=pattern.square_mm, ruler_mm=0.0)
        self._show()
        self.say(tr("Saved: {path}", path=path))

    def _drawn(self) -> None:
        """Of a sheet that was printed before."""
        try:
            pattern = Pattern(*parse_counts(self.squares.text(), ""), self.square.value())
        except DrillaidError as error:
            self.say(str(error).strip())
            return
        squares = f"{pattern.columns}x{pattern.rows}"
        settings = self.rig.job.settings
        if (squares, pattern.square_mm) != (settings.squares, settings.square_mm):
            self.rig.job.remember(squares=squares, square_mm=pattern.square_mm, ruler_mm=0.0)
            self.say("")
            self._show()

    def _measured(self, value: float) -> None:
        if value and self.rig.drawn().measured(value) is None:
            drawn = mm(self.rig.drawn().bar_mm, 0)
            self.say(
                tr("{v} cannot be this bar, which was drawn {b} long: measure the black bar from "
                   "end to end; a sheet printed with \"fit to page\" must be printed again at "
                   "100 %.", v=mm(value), b=drawn)
            )  # fmt: skip
            return
        self.say("")
        self.rig.job.remember(ruler_mm=value)
        self._show()
