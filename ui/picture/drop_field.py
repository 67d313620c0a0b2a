"""An empty field that says what may be dropped on it."""

from __future__ import annotations

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QPainter, QPen
from PyQt6.QtWidgets import QSizePolicy, QWidget

from ui.look.colours import Colours
from ui.look.signs import hole_sign


class DropField(QWidget):
    """A board's edge, dashed, with a few open lands in it; the words below."""

    def __init__(self, colours: Colours, words: str, more: str) -> None:
        super().__init__()
        self.colours, self.words, self.more = colours, words, more
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(200, 160)
        self.setAccessibleName(f"{words}. {more}")

    def show_words(self, words: str, more: str) -> None:
        self.words, self.more = words, more
        self.setAccessibleName(f"{words}. {more}")
        self.update()

    def paintEvent(self, event) -> None:  # noqa: N802, ARG002
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        c = self.colours
        area = QRectF(self.rect()).adjusted(6, 6, -6, -6)
        painter.setPen(QPen(c.colour("line"), 3, Qt.PenStyle.DashLine))
        painter.setBrush(c.colour("raised"))
        painter.drawRoundedRect(area, 10, 10)
        line = self.fontMetrics().height()
        self._lands(painter, QPointF(area.center().x(), area.center().y() - 2.6 * line), 0.5 * line)
        large = self.font()
        large.setPointSizeF(large.pointSizeF() * 1.5)
        large.setBold(True)
        room = area.adjusted(line, 0, -line, 0)
        flags = int(Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop)
        flags |= int(Qt.TextFlag.TextWordWrap)
        painter.setPen(c.colour("ink"))
        painter.setFont(large)
        room.setTop(area.center().y() - 0.6 * line)
        taken = painter.boundingRect(room, flags, self.words)
        painter.drawText(room, flags, self.words)
        painter.setFont(self.font())
        painter.setPen(c.colour("quiet"))
        room.setTop(taken.bottom() + 0.5 * line)
        painter.drawText(room, flags, self.more)

    def _lands(self, painter: QPainter, at: QPointF, radius: float) -> None:
        """A dual row, one of them already drilled."""
        ink, ground = self.colours.colour("key"), self.colours.colour("raised")
        for row in (0, 1):
            for column in range(5):
                painter.save()
                painter.translate(at + QPointF((column - 2) * 3.2, (row - 0.5) * 3.6) * radius)
                painter.scale(radius, radius)
                hole_sign(painter, "done" if (row, column) == (0, 0) else "left", ink, ground)
                painter.restore()
