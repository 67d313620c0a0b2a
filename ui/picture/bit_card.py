"""The card that asks for another bit: its size large, the cautions, and a count to agree to."""

from __future__ import annotations

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtWidgets import QWidget

from drillaid.guidance.guidance import BitChange, Guidance
from ui.look.colours import Colours
from ui.picture.card import Card
from ui.words import bit, tr

BIT_PT = 60


class BitCard(Card):
    """fitted(bit_mm): the person says that the bit is in the chuck.

    take_back(): the count was not right; revisit(hole): one that was put aside comes first
    """

    fitted = pyqtSignal(float)
    take_back = pyqtSignal()
    revisit = pyqtSignal(int)

    def __init__(self, colours: Colours, parent: QWidget) -> None:
        super().__init__(colours, parent)
        self._change: BitChange | None = None
        self._aside: int | None = None
        self.title = self.label(tr("Fit this bit"))
        self.title.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.size = self.label()
        self.size.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.size.setStyleSheet(f"font-size: {BIT_PT}pt; font-weight: 700;")
        self.count = self.label(name="title")
        self.count.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.told = self.label()
        self.told.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.cautions = self.label()
        self.button = self.add_button("", self._done)
        self.back = self.add_button(
            tr("The count is not right: take the last one back  (Z)"), self.take_back.emit
        )
        self.aside = self.add_button("", lambda: self.revisit.emit(self._aside))

    def offer(self, change: BitChange, guidance: Guidance) -> None:
        """Shows the card; nothing happens where it is up with the same bit already."""
        if self.isVisible() and change == self._change:
            return
        self._change = change
        self.size.setText(bit(change.bit_mm))
        before = next((t for t in guidance.by_bit if t.bit_mm == change.from_mm), None)
        self.count.setVisible(before is not None)
        self.back.setVisible(before is not None and before.done > 0)
        if before is not None:
            self.count.setText(tr("Count on the board: {n} holes of {bit} so far",
                                  n=before.done, bit=bit(before.bit_mm)))  # fmt: skip
        told = tr("{n} holes are drilled with it.", n=change.holes)
        if before is not None:
            told = tr("Of {all} with the bit in the chuck {done} are done.",
                      all=before.holes, done=before.done) + " " + told  # fmt: skip
        self.told.setText(told)
        self._aside = change.aside[0] if change.aside else None
        self.aside.setVisible(self._aside is not None)
        self.aside.setText(tr("First the {n} put aside", n=len(change.aside)))
        self.cautions.setText("\n".join(f"⚠ {caution}" for caution in change.cautions))
        self.button.setText(
            tr("This bit is in the chuck  (space)") if before is None
            else tr("The count is right, and this bit is in the chuck  (space)")
        )  # fmt: skip
        self.open()

    def _done(self) -> None:
        if self._change is not None:
            self.fitted.emit(self._change.bit_mm)
