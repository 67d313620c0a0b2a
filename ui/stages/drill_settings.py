"""How a board is to be drilled, as plain controls: face, thickness, bits at hand, tolerance."""

from __future__ import annotations

from PyQt6.QtCore import QTimer, pyqtSignal
from PyQt6.QtWidgets import QComboBox, QDoubleSpinBox, QFormLayout, QLineEdit, QWidget

from drillaid.design.bits import DEFAULT_BITS_MM, checked_bits
from drillaid.errors import UsageError
from ui.settings import Settings
from ui.words import size_list, sizes, tr

_SHORT = QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
SETTLE_MS = 600  # after the last key, so that a number being typed is not read half


class DrillSettings(QWidget):
    """changed(): another value that holds. `values` as `ui.settings.Settings` names them.

    wrong(sentence): what was typed cannot be; empty once it can
    """

    changed = pyqtSignal()
    wrong = pyqtSignal(str)

    def __init__(self, settings: Settings) -> None:
        super().__init__()
        self.face = QComboBox()
        self.face.addItem(tr("Bottom (copper)"), "bottom")
        self.face.addItem(tr("Top (parts)"), "top")
        self.thickness = _spin(0.1, 10.0, 0.1, 2)
        self.tolerance = _spin(0.01, 5.0, 0.05, 2)
        self.bits = QLineEdit()
        self.bits.setPlaceholderText(tr("the common sizes"))
        self.bits.setToolTip(size_list(DEFAULT_BITS_MM))
        form = QFormLayout(self)
        form.setContentsMargins(0, 0, 0, 0)
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        self.face.setSizeAdjustPolicy(_SHORT)
        self.face.setMinimumContentsLength(14)
        for words, field in (
            (tr("Facing the camera"), self.face),
            (tr("Thickness"), self.thickness),
            (tr("Bits at hand, mm"), self.bits),
            (tr("Off by at most"), self.tolerance),
        ):
            field.setAccessibleName(words)
            form.addRow(words, field)
        self._held: dict = {}
        self.show_settings(settings)
        self._settle = QTimer(self, singleShot=True, interval=SETTLE_MS)
        self._settle.timeout.connect(self._settled)
        self.face.currentIndexChanged.connect(self._settled)
        for field in (self.thickness, self.tolerance):
            field.valueChanged.connect(lambda _: self._settle.start())
        self.bits.textEdited.connect(lambda _: self._settle.start())
        self.bits.editingFinished.connect(self._settled)

    def resizeEvent(self, event) -> None:  # noqa: N802
        """A list of bits wants room; else its label goes above it."""
        super().resizeEvent(event)
        self.bits.setMinimumWidth(14 * self.fontMetrics().averageCharWidth())

    def show_settings(self, settings: Settings) -> None:
        """As remembered or as the command line had it."""
        for field in (self.face, self.thickness, self.tolerance):
            field.blockSignals(True)
        self.face.setCurrentIndex(self.face.findData(settings.face))
        self.thickness.setValue(settings.thickness_mm)
        self.tolerance.setValue(settings.tolerance_mm)
        for field in (self.face, self.thickness, self.tolerance):
            field.blockSignals(False)
        mine = [float(word) for word in settings.bits.split(",") if word]
        self.bits.setText(size_list(mine))
        self._held = self.values()

    def values(self) -> dict:
        """face, thickness_mm, tolerance_mm, bits. Raises UsageError for bits that are none."""
        return {
            "face": self.face.currentData(),
            "thickness_mm": round(self.thickness.value(), 3),
            "tolerance_mm": round(self.tolerance.value(), 3),
            "bits": ",".join(f"{size:g}" for size in self._bits()),
        }

    def _bits(self) -> tuple[float, ...]:
        text = self.bits.text()
        if not text.strip():
            return ()
        try:
            return checked_bits(sizes(text))
        except ValueError:
            raise UsageError(
                f"'{text}' is no list of bit sizes", remedy=tr("write it like 0.8; 1.0; 1.3")
            ) from None

    def _settled(self) -> None:
        self._settle.stop()
        try:
            values = self.values()
        except UsageError as error:
            self.wrong.emit(str(error))
            return
        self.wrong.emit("")
        if values != self._held:
            self._held = values
            self.changed.emit()


def _spin(least: float, most: float, step: float, digits: int) -> QDoubleSpinBox:
    made = QDoubleSpinBox()
    made.setRange(least, most)
    made.setSingleStep(step)
    made.setDecimals(digits)
    made.setSuffix(" mm")
    made.setKeyboardTracking(False)
    made.setButtonSymbols(QDoubleSpinBox.ButtonSymbols.NoButtons)  # typed, or the arrow keys
    return made
