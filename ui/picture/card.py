"""A card over the stage: the rest is dimmed, the keyboard is the card's until it is answered."""

from __future__ import annotations

from PyQt6.QtCore import QRect, Qt, pyqtSignal
from PyQt6.QtGui import QColor, QKeyEvent, QPainter
from PyQt6.QtWidgets import (
    QApplication,
    QFrame,
    QLabel,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from ui.look.colours import Colours

USUAL, BROADER, EDGE = 720, 80, 16  # px: of a card, of a step broader, left beside it
BORDER = 2  # of the panel, as `ui.look.style` draws it; no margin tells of it
_ANSWERS = (Qt.Key.Key_Space, Qt.Key.Key_Return, Qt.Key.Key_Enter)


class Card(QWidget):
    """Covers all of `parent`; `body` takes what the card says, `add_button` what is answered.

    The first button is what space and enter press, and the pedal through `press`.
    shut(): the card has gone.
    """

    shut = pyqtSignal()

    def __init__(self, colours: Colours, parent: QWidget) -> None:
        super().__init__(parent)
        self.colours = colours
        self.panel = QFrame(self)
        self.panel.setObjectName("card")
        self._inner = QWidget()
        self.body = QVBoxLayout(self._inner)
        self.body.setContentsMargins(0, 0, 0, 0)
        self.body.setSpacing(10)
        self._scroll = QScrollArea()
        self._scroll.setWidget(self._inner)
        self._scroll.setWidgetResizable(True)
        self._scroll.setFrameShape(QFrame.Shape.NoFrame)
        self._scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._column = QVBoxLayout(self.panel)
        self._column.setContentsMargins(28, 22, 28, 22)
        self._column.setSpacing(10)
        self._column.addWidget(self._scroll)
        self.buttons: list[QPushButton] = []
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        QApplication.instance().focusChanged.connect(self._hold_focus)
        self.hide()

    def label(self, text: str = "", name: str = "") -> QLabel:
        """A paragraph of the body."""
        made = QLabel(text)
        made.setWordWrap(True)
        made.setObjectName(name)
        self.body.addWidget(made)
        return made

    def add_button(self, text: str, slot) -> QPushButton:
        made = QPushButton(text)
        if not self.buttons:
            made.setObjectName("go")
        made.clicked.connect(slot)
        self.buttons.append(made)
        self._column.addWidget(made)
        return made

    def open(self) -> None:
        """Shows the card; where it is up already it keeps the keyboard."""
        self.settle()
        if not self.isVisible():
            self.show()
            self.raise_()
            self.setFocus()

    def close_card(self) -> None:
        if not self.isHidden():
            self.hide()
            self.shut.emit()

    def press(self) -> None:
        """What space does: the pedal does it too."""
        if self.isVisible() and self.buttons and self.buttons[0].isEnabled():
            self.buttons[0].click()

    def settle(self) -> None:
        """In the middle of the parent, as high as its words need, broader where that is low."""
        room = self.parentWidget().rect()
        self.setGeometry(room)
        self._inner.ensurePolished()
        shown = [button for button in self.buttons if not button.isHidden()]
        margins = self._column.contentsMargins()
        below = sum(button.sizeHint().height() + self._column.spacing() for button in shown)
        frame = margins.top() + margins.bottom() + below + 2 * BORDER
        most, beside = room.height() - 2 * EDGE - frame, margins.left() + margins.right() + 2 * BORDER
        # On a low screen it grows broader before anything of it must be scrolled for.
        broadest = room.width() - 2 * EDGE
        least = self._inner.minimumSizeHint().width() + beside  # a table's columns do not wrap
        width = min(max(USUAL, room.width() // 3, least), broadest)
        wanted = self._body_height(width - beside)
        while wanted + 2 > most and width < broadest:
            width = min(width + BROADER, broadest)
            wanted = self._body_height(width - beside)
        height = min(wanted + 2, most)
        # A bar that comes up for a moment makes the words narrower, and then needs itself.
        self._scroll.setVerticalScrollBarPolicy(
            Qt.ScrollBarPolicy.ScrollBarAlwaysOff if height > wanted
            else Qt.ScrollBarPolicy.ScrollBarAsNeeded
        )  # fmt: skip
        self._scroll.setFixedHeight(max(60, height))
        total = max(60, height) + frame
        self.panel.setGeometry(
            QRect((room.width() - width) // 2, (room.height() - total) // 2, width, total)
        )

    def _body_height(self, width: int) -> int:
        for child in self._inner.findChildren(QWidget):
            child.ensurePolished()
        self.body.invalidate()
        if self.body.hasHeightForWidth():
            return self.body.totalHeightForWidth(width)
        return self.body.totalSizeHint().height()

    # -- the keyboard ------------------------------------------------------------------

    def _hold_focus(self, _before, now: QWidget | None) -> None:
        if now is None or not self.isVisible() or now.window() is not self.window():
            return
        if now is not self and not self.isAncestorOf(now):
            self.setFocus()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        if event.key() in _ANSWERS:
            if not event.isAutoRepeat():
                self.press()
            return
        super().keyPressEvent(event)

    # -- drawing -----------------------------------------------------------------------

    def paintEvent(self, event) -> None:  # noqa: N802, ARG002
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor(0, 0, 0, 165))

    def mousePressEvent(self, event) -> None:  # noqa: N802
        event.accept()  # nothing behind the card is pressed through it
