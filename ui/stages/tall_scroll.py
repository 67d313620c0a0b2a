"""A column that scrolls up and down only, and is never cut at its side."""

from __future__ import annotations

from PyQt6.QtCore import QSize, Qt
from PyQt6.QtWidgets import QFrame, QScrollArea, QVBoxLayout


class TallScroll(QScrollArea):
    """column: the layout to fill. As wide as its widest part asks, whatever the size of type."""

    def __init__(self) -> None:
        super().__init__()
        inner = QFrame()
        inner.setObjectName("panel")
        self.column = QVBoxLayout(inner)
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setWidget(inner)

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        bar = self.verticalScrollBar().sizeHint().width()
        return QSize(self.widget().minimumSizeHint().width() + bar + 6, 80)

    def to_top(self) -> None:
        self.verticalScrollBar().setValue(0)

    def keyPressEvent(self, event) -> None:  # noqa: N802
        """The page keys scroll, from whatever inside has the focus."""
        step = {Qt.Key.Key_PageDown: 1, Qt.Key.Key_PageUp: -1}.get(Qt.Key(event.key()))
        if step is None:
            event.ignore()
            return
        bar = self.verticalScrollBar()
        bar.setValue(bar.value() + step * bar.pageStep())
