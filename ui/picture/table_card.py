"""The card of what the table asks: cautions before it moves, another bit, the lever."""

from __future__ import annotations

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtWidgets import QWidget

from drillaid.table import job as j
from ui.look.colours import Colours
from ui.picture.bit_card import BIT_PT
from ui.picture.card import Card
from ui.words import bit, tr


class TableCard(Card):
    """agreed(): the person has done it, or has read it."""

    agreed = pyqtSignal()

    def __init__(self, colours: Colours, parent: QWidget) -> None:
        super().__init__(colours, parent)
        self._asked: tuple | None = None
        self.title = self.label(name="title")
        self.size = self.label()
        self.size.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.size.setStyleSheet(f"font-size: {BIT_PT}pt; font-weight: 700;")
        self.told = self.label()
        self.cautions = self.label()
        self.add_button("", self._agree)

    def offer(self, state: str, message: str, cautions: tuple, bit_mm: float | None = None) -> None:
        """state: one of `drillaid.table.job.ASKS`"""
        asked = state, message
        if self.isVisible() and asked == self._asked:
            return
        self._asked = asked
        self.title.setText({
            j.CHANGE_BIT: tr("Fit this bit"), j.LEVER: tr("Pull the lever"),
        }.get(state, tr("Before the table moves")))  # fmt: skip
        self.size.setText("" if bit_mm is None or state != j.CHANGE_BIT else bit(bit_mm))
        self.size.setVisible(bool(self.size.text()))
        self.told.setText(message)
        self.cautions.setText("\n".join(f"⚠ {caution}" for caution in cautions))
        self.cautions.setVisible(bool(cautions))
        read = tr("I have read this; the emergency stop is within reach  (space)")
        self.buttons[0].setText({
            j.CHANGE_BIT: tr("This bit is in the chuck, hands are off  (space)"),
            j.LEVER: tr("The lever is up again  (space)"),
        }.get(state, read))  # fmt: skip
        self.open()

    def _agree(self) -> None:
        self.close_card()
        self._asked = None
        self.agreed.emit()
