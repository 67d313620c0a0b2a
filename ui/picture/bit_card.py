"""The card that asks for another bit: its size large, the cautions, and a count to agree to."""

from __future__ import annotations

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtGui import QKeyEvent
from PyQt6.QtWidgets import QFrame, QLabel, QPushButton, QVBoxLayout, QWidget

from drillaid.guidance.guidance import BitChange, Guidance
from ui.look.colours import Colours
from ui.words import bit, tr


class BitCard(QFrame):
    """fitted(bit_mm): the person says that the bit is in the chuck."""

    fitted = pyqtSignal(float)

    def __init__(self, colours: Colours, parent: QWidget) -> None:
        super().__init__(parent)
        self.colours = colours
        self.setObjectName("panel")
        self.setFrameShape(QFrame.Shape.StyledPanel)
        self._change: BitChange | None = None
        self.size = QLabel()
        self.size.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.told = QLabel()
        self.told.setWordWrap(True)
        self.cautions = QLabel()
        self.cautions.setWordWrap(True)
        self.button = QPushButton(tr("This bit is in the chuck  (space)"))
        self.button.setObjectName("go")
        self.button.clicked.connect(self._done)
        column = QVBoxLayout(self)
        column.setContentsMargins(28, 20, 28, 20)
        column.addWidget(QLabel(tr("Fit this bit")))
        for part in (self.size, self.told, self.cautions, self.button):
            column.addWidget(part)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.hide()

    def offer(self, change: BitChange, guidance: Guidance) -> None:
        """Shows the card; nothing happens where it is up with the same bit already."""
        if self.isVisible() and change == self._change:
            return
        self._change = change
        self.size.setText(bit(change.bit_mm))
        big = self.size.font()
        big.setPointSizeF(64)
        big.setBold(True)
        self.size.setFont(big)
        self.size.setStyleSheet("font-size: 64pt; font-weight: 700;")
        told = tr("{n} holes are drilled with it.", n=change.holes)
        if change.from_mm is not None:
            done = next((t for t in guidance.by_bit if t.bit_mm == change.from_mm), None)
            if done is not None:
                told += "\n" + tr(
                    "With the {bit} bit {done} of {all} holes are done: count them on the board.",
                    bit=bit(change.from_mm), done=done.done, all=done.holes,
                )  # fmt: skip
            if change.skipped_before:
                told += "\n" + tr("{n} of them were put aside.", n=change.skipped_before)
        self.told.setText(told)
        self.cautions.setText("\n".join(f"⚠ {caution}" for caution in change.cautions))
        self.settle()
        self.show()
        self.raise_()
        self.setFocus()

    def settle(self) -> None:
        """In the middle of the stage."""
        room = self.parentWidget().size()
        width = min(max(560, room.width() // 2), room.width() - 40)
        self.setFixedWidth(max(200, width))
        self.adjustSize()
        self.move((room.width() - self.width()) // 2, max(0, (room.height() - self.height()) // 2))

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        if event.key() in (Qt.Key.Key_Space, Qt.Key.Key_Return, Qt.Key.Key_Enter):
            if not event.isAutoRepeat():
                self._done()
        else:
            super().keyPressEvent(event)

    def _done(self) -> None:
        if self._change is not None:
            self.fitted.emit(self._change.bit_mm)
