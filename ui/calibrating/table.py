"""A table's own figures: how far it may go, how high is safe, which language it speaks."""

from __future__ import annotations

from pathlib import Path

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QComboBox, QDoubleSpinBox, QFileDialog, QFormLayout, QGridLayout

from drillaid.errors import DrillaidError
from drillaid.rig.table_limits import LENGTH_MM
from drillaid.table.dialect_file import load_dialect, shipped
from ui.calibrating.page import Page, button, caution, label, millimetres
from ui.words import tr

AXES = ("X", "Y", "Z")
USUAL = "line-ack"
UNKNOWN_MM = -LENGTH_MM - 1.0  # shown as a question: no figure is made up for a machine


class TablePage(Page):
    """What nobody can measure for the person; how it moves is measured where it drills."""

    name = "table"
    title = tr("XY table")

    def build(self) -> None:
        self._said: dict = {}
        self.caution = caution(
            tr("the soft limits keep this program's own commands in bounds, nothing else. They are "
               "no end switches and no emergency stop; the machine's manual and the person in "
               "charge come first.")
        )  # fmt: skip
        self.arrangement = self._choice((tr("the board"), "board"), (tr("the spindle"), "spindle"))
        self.lever = self._choice((tr("the controller"), "controller"), (tr("a hand, by lever"), "lever"))
        self.lever.currentIndexChanged.connect(lambda _: self.settle())
        self.dialect = self._choice()
        for name, about in shipped().items():
            self.dialect.addItem(name, name)
            self.dialect.setItemData(self.dialect.count() - 1, about, Qt.ItemDataRole.ToolTipRole)
        self.file = button(tr("File …"), self._file)
        self.ends = {axis: (self._length(axis, tr("least")), self._length(axis, tr("most"))) for axis in AXES}
        self.safe, self.surface = self._length("Z", tr("safe")), self._length("Z", tr("surface"))
        self.rpm = QDoubleSpinBox()
        self.rpm.setRange(0.0, 200_000.0)
        self.rpm.setDecimals(0)
        self.rpm.setButtonSymbols(QDoubleSpinBox.ButtonSymbols.NoButtons)
        self.rpm.setSpecialValueText(tr("switched by hand"))
        grid = QGridLayout()
        grid.setColumnStretch(1, 1)
        grid.setColumnStretch(2, 1)
        grid.addWidget(label(tr("goes from")), 0, 1)
        grid.addWidget(label(tr("to")), 0, 2)
        for row, axis in enumerate(AXES, start=1):
            grid.addWidget(label(axis), row, 0)
            for column, field in enumerate(self.ends[axis], start=1):
                grid.addWidget(field, row, column)
        form = QFormLayout()
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        form.addRow(tr("What moves sideways"), self.arrangement)
        form.addRow(tr("The bit is lowered by"), self.lever)
        form.addRow(tr("Controller speaks"), self.dialect)
        form.addRow("", self.file)
        heights = QFormLayout()
        heights.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        heights.addRow(tr("Safe height, Z"), self.safe)
        heights.addRow(tr("Bit touches the board at Z"), self.surface)
        heights.addRow(tr("Spindle, turns a minute"), self.rpm)
        self.write = button(tr("Write to the rig file"), self._write, go=True)
        self.add(
            label(tr("As the table counts after homing, read off the machine or its manual. How it "
                     "really moves (scale, skew, backlash) is measured later, where it drills.")),
            self.caution, form, grid, heights, self.words,
        )  # fmt: skip
        self.keys(self.back_key(), self.write)

    def _choice(self, *rows: tuple[str, str]) -> QComboBox:
        made = QComboBox()
        for words, value in rows:
            made.addItem(words, value)
        return made

    def _length(self, axis: str, what: str) -> QDoubleSpinBox:
        made = millimetres(UNKNOWN_MM, LENGTH_MM, 1.0)
        made.setSpecialValueText("?")
        made.setAccessibleName(f"{axis}, {what}")
        made.valueChanged.connect(lambda _: self.settle())
        return made

    # -- life ------------------------------------------------------------------------------

    def enter(self) -> None:
        draft = self.rig.draft
        said = {} if draft is None else draft.section("table")
        self._said = said
        for axis, row in zip(AXES, said.get("limits_mm", [(UNKNOWN_MM,) * 2] * 3), strict=True):
            for field, value in zip(self.ends[axis], row, strict=True):
                field.setValue(value)
        self.safe.setValue(said.get("safe_z_mm", UNKNOWN_MM))
        self.surface.setValue(said.get("surface_z_mm", UNKNOWN_MM))
        self.rpm.setValue(said.get("spindle_rpm", 0.0))
        self._show(self.arrangement, said.get("arrangement", "board"))
        self._show(self.lever, said.get("z", "controller"))
        self._show(self.dialect, said.get("dialect", USUAL))
        self.say("")
        self.settle()

    @staticmethod
    def _show(choice: QComboBox, value: str) -> None:
        if choice.findData(value) < 0:
            choice.addItem(Path(value).name, value)
        choice.setCurrentIndex(choice.findData(value))

    def settle(self) -> None:
        by_hand = self.lever.currentData() == "lever"
        for field in (self.safe, self.surface):
            field.setEnabled(not by_hand)
        asked = [field for axis in AXES for field in self.ends[axis]]
        asked += [] if by_hand else [self.safe, self.surface]
        known = all(field.value() >= -LENGTH_MM for field in asked)
        self.write.setEnabled(self.rig.draft is not None and known)

    # -- the person ------------------------------------------------------------------------

    def _file(self) -> None:
        path, _ = QFileDialog.getOpenFileName(
            self, tr("How the controller speaks"), "", tr("Dialect files (*.toml)")
        )
        if not path:
            return
        try:
            load_dialect(path)
        except DrillaidError as error:
            self.say(str(error))
            return
        self._show(self.dialect, path)

    def values(self) -> dict:
        """For [table]; what is not asked here stays as it is in the file."""
        by_hand = self.lever.currentData() == "lever"
        heights = {"safe_z_mm": self.safe.value(), "surface_z_mm": self.surface.value()}
        return {
            "arrangement": self.arrangement.currentData(),
            "z": self.lever.currentData(),
            "dialect": self.dialect.currentData(),
            "limits_mm": [[field.value() for field in self.ends[axis]] for axis in AXES],
            "spindle_rpm": self.rpm.value(),
            "matrix": self._matrix(),
        } | ({name: None for name in heights} if by_hand else heights)

    def _matrix(self) -> list | None:
        """As it was measured: what was seen to move by what is the same, whatever it was taken
        for; the file has it turned about with the arrangement (`table.setup`)."""
        matrix = self._said.get("matrix")
        turned = self.arrangement.currentData() != self._said.get("arrangement", "board")
        return [[-v for v in row] for row in matrix] if matrix and turned else matrix

    def _write(self) -> None:
        self.rig.save(self.rig.draft.with_section("table", self.values()))
