"""Buttons side by side; one below the other where the type is too large for that."""

from __future__ import annotations

from PyQt6.QtCore import QSize
from PyQt6.QtWidgets import QBoxLayout, QPushButton, QSizePolicy, QWidget

_SIDE, _BELOW = QBoxLayout.Direction.LeftToRight, QBoxLayout.Direction.TopToBottom


class ButtonRow(QWidget):
    """Never narrower than its widest button, never wider than it is given."""

    def __init__(self, *buttons: QPushButton) -> None:
        super().__init__()
        self.setObjectName("panel")
        self._buttons = buttons
        self._row = QBoxLayout(_SIDE, self)
        self._row.setContentsMargins(0, 0, 0, 0)
        for made in buttons:
            self._row.addWidget(made)
        policy = QSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
        policy.setHeightForWidth(True)
        self.setSizePolicy(policy)

    def _shown(self) -> list[QSize]:
        return [made.minimumSizeHint() for made in self._buttons if not made.isHidden()]

    def _fits(self, width: int) -> bool:
        sizes = self._shown()
        gaps = self._row.spacing() * max(len(sizes) - 1, 0)
        return sum(size.width() for size in sizes) + gaps <= width

    def heightForWidth(self, width: int) -> int:  # noqa: N802
        heights = [size.height() for size in self._shown()]
        if not heights:
            return 0
        gaps = self._row.spacing() * (len(heights) - 1)
        return max(heights) if self._fits(width) else sum(heights) + gaps

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        widest = max((size.width() for size in self._shown()), default=0)
        return QSize(widest, self.heightForWidth(max(self.width(), widest)))

    def sizeHint(self) -> QSize:  # noqa: N802
        return self.minimumSizeHint()

    def resizeEvent(self, event) -> None:  # noqa: N802
        way = _SIDE if self._fits(self.width()) else _BELOW
        if way != self._row.direction():
            self._row.setDirection(way)
            self.updateGeometry()
        super().resizeEvent(event)
