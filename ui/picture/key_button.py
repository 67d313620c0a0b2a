"""A button that shows the key which does the same: what it does above, the key below."""

from __future__ import annotations

from PyQt6.QtCore import QRectF, QSize, Qt
from PyQt6.QtGui import QFont, QPainter, QPen
from PyQt6.QtWidgets import QAbstractButton, QLabel, QSizePolicy

from ui.look.colours import Colours
from ui.picture.fitted import fitted_font

_MIDDLE = int(Qt.AlignmentFlag.AlignCenter)


class KeyButton(QAbstractButton):
    """go: the one that is meant now. Text is drawn smaller rather than cut off."""

    def __init__(self, colours: Colours, text: str, key: str, *, go: bool = False) -> None:
        super().__init__()
        self.colours, self.key, self.go = colours, key, go
        self.setText(text)
        self._ruler = QLabel(self)
        self._ruler.hide()
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:  # noqa: N802
        metrics = self.fontMetrics()
        wide = metrics.horizontalAdvance(self.text()) + 22
        return QSize(max(72, wide), round(metrics.height() * 2.1) + 12)

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        return QSize(64, self.sizeHint().height())

    def paintEvent(self, event) -> None:  # noqa: N802, ARG002
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        c, on = self.colours, self.isEnabled()
        filled = on and self.go
        ground = "key" if filled else "raised" if on else "ground"
        ink = c.colour("on_key" if filled else "ink" if on else "quiet")
        if self.isDown():
            ground, ink = "ink", c.colour("ground")
        style = Qt.PenStyle.SolidLine if on else Qt.PenStyle.DashLine
        edge = c.colour("key" if filled else "line")
        pen = QPen(edge, 2, style)
        if self.hasFocus():
            pen = QPen(c.colour("ink" if filled else "key"), 3)
        painter.setPen(pen)
        painter.setBrush(c.colour(ground))
        painter.drawRoundedRect(QRectF(self.rect()).adjusted(1.5, 1.5, -1.5, -1.5), 6, 6)
        font = QFont(self.font())
        font.setBold(self.go)
        room = QRectF(self.rect()).adjusted(6, 5, -6, -5)
        size = self.fontInfo().pixelSize()
        above = QRectF(room.x(), room.y(), room.width(), 0.54 * room.height())
        painter.setPen(ink)
        text = self.text()
        if self.isCheckable():
            text = ("☑ " if self.isChecked() else "☐ ") + text
        fitted_font(painter, font, size, text, above, _MIDDLE)
        painter.drawText(above, _MIDDLE, text)
        self._key(painter, QRectF(room.x(), above.bottom(), room.width(), 0.46 * room.height()),
                  ink, 0.74 * size)  # fmt: skip

    def _key(self, painter: QPainter, box: QRectF, ink, size: float) -> None:
        """The key as a cap: a small frame about its name."""
        font = fitted_font(
            painter, self.font(), size, self.key, box.adjusted(8, 1, -8, -1), _MIDDLE
        )
        painter.setFont(font)
        wide = painter.fontMetrics().horizontalAdvance(self.key) + 16
        cap = QRectF(0, 0, min(wide, box.width()), box.height() - 1)
        cap.moveCenter(box.center())
        painter.setPen(QPen(ink, 1.2))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRoundedRect(cap, 4, 4)
        painter.drawText(cap, _MIDDLE, self.key)
