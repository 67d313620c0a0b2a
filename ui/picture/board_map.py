"""The whole board with every hole's state; zoom, pan, and a hole chosen by a click."""

from __future__ import annotations

import numpy as np
from PyQt6.QtCore import QPointF, QRectF, QSize, Qt, pyqtSignal
from PyQt6.QtGui import QColor, QFont, QImage, QPainter, QPen
from PyQt6.QtWidgets import QSizePolicy, QWidget

from drillaid.geometry import Affine
from ui.look.colours import Colours
from ui.look.signs import hole_sign
from ui.words import tr

_ROOM = 0.94  # of the widget's sides
ZOOM = (1.0, 12.0)
PICK_PX = 18.0


class BoardMap(QWidget):
    """chosen(hole): clicked, or taken with Enter after stepping with the arrow keys.

    to_map: design mm -> map units as the hand sees the board; set by `show_board`
    """

    chosen = pyqtSignal(int)

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.colours = colours
        self._picture: QImage | None = None
        self._holes = np.zeros((0, 2))
        self._states: tuple[str, ...] = ()
        self._size = (1, 1)
        self._zoom, self._pan = 1.0, QPointF(0, 0)
        self._held: QPointF | None = None
        self._moved = False
        self._cursor: int | None = None
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMinimumSize(180, 140)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName(tr("Board with all holes"))

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(420, 320)

    def show_board(self, picture: QImage, to_px: Affine, holes_mm) -> None:
        """picture: of the board as the hand sees it; to_px: design mm -> its pixels."""
        self._picture = picture
        self._size = (picture.width(), picture.height())
        self._holes = to_px(holes_mm) if len(holes_mm) else np.zeros((0, 2))
        self._states = ()
        self._zoom, self._pan, self._cursor = 1.0, QPointF(0, 0), None
        self.update()

    def show_states(self, states: tuple[str, ...]) -> None:
        if states != self._states:
            self._states = states
            self.update()

    # -- drawing ------------------------------------------------------------------

    def _scale(self) -> float:
        fit = min(self.width() / self._size[0], self.height() / self._size[1]) * _ROOM
        return fit * self._zoom

    def _place(self) -> tuple[float, QPointF]:
        scale = self._scale()
        middle = QPointF(self.width() / 2, self.height() / 2) + self._pan
        return scale, middle - QPointF(self._size[0] / 2, self._size[1] / 2) * scale

    def paintEvent(self, event) -> None:  # noqa: N802, ARG002
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        painter.fillRect(self.rect(), self.colours.colour("raised"))
        if self._picture is None:
            return
        scale, corner = self._place()
        painter.drawImage(
            QRectF(corner.x(), corner.y(), self._size[0] * scale, self._size[1] * scale),
            self._picture,
        )
        size = float(np.clip(6.0 * self._zoom**0.5, 5, 16))
        for number, ((x, y), state) in enumerate(zip(self._holes, self._states, strict=False), 1):
            at = corner + QPointF(x + 0.5, y + 0.5) * scale
            bold = 1.7 if state == "target" else 1.0
            painter.save()
            painter.translate(at)
            painter.scale(size * bold, size * bold)
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(255, 255, 255, 210))
            painter.drawEllipse(QPointF(0, 0), 1.25, 1.25)
            hole_sign(painter, state, QColor("#101418"), QColor("#FFFFFF"))
            painter.restore()
            if number == self._cursor:
                painter.setPen(QPen(QColor("#0072B2"), 4))
                painter.setBrush(Qt.BrushStyle.NoBrush)
                painter.drawRect(QRectF(at.x() - 2 * size, at.y() - 2 * size, 4 * size, 4 * size))
                self._label(painter, at, size, number)

    def _label(self, painter: QPainter, at: QPointF, size: float, number: int) -> None:
        font = QFont(self.font())
        font.setBold(True)
        painter.setFont(font)
        text = str(number)
        box = painter.fontMetrics().boundingRect(text).adjusted(-6, -3, 6, 3)
        box.moveBottomLeft((at + QPointF(2 * size, -2 * size)).toPoint())
        painter.fillRect(box, QColor("#FFFFFF"))
        painter.setPen(QColor("#000000"))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)

    # -- hand and keyboard ----------------------------------------------------------

    def hole_at(self, point: QPointF) -> int | None:
        """The number of the hole nearest to a place of the widget, or None."""
        if not len(self._holes):
            return None
        scale, corner = self._place()
        at = (self._holes + 0.5) * scale + [corner.x(), corner.y()]
        far = np.hypot(*(at - [point.x(), point.y()]).T)
        nearest = int(np.argmin(far))
        return nearest + 1 if far[nearest] <= PICK_PX * max(1.0, self._zoom**0.5) else None

    def mousePressEvent(self, event) -> None:  # noqa: N802
        self._held, self._moved = event.position(), False

    def mouseMoveEvent(self, event) -> None:  # noqa: N802
        if self._held is None:
            return
        step = event.position() - self._held
        if self._moved or step.manhattanLength() > 6:
            self._moved = True
            self._pan += step
            self._held = event.position()
            self.update()

    def mouseReleaseEvent(self, event) -> None:  # noqa: N802
        if self._held is not None and not self._moved:
            hole = self.hole_at(event.position())
            if hole is not None:
                self._cursor = hole
                self.chosen.emit(hole)
                self.update()
        self._held = None

    def wheelEvent(self, event) -> None:  # noqa: N802
        self._zoom_by(1.2 ** (event.angleDelta().y() / 120.0), event.position())

    def _zoom_by(self, factor: float, about: QPointF) -> None:
        zoom = float(np.clip(self._zoom * factor, *ZOOM))
        middle = QPointF(self.width() / 2, self.height() / 2)
        self._pan = (self._pan + middle - about) * (zoom / self._zoom) - middle + about
        self._zoom = zoom
        if zoom == ZOOM[0]:
            self._pan = QPointF(0, 0)
        self.update()

    def keyPressEvent(self, event) -> None:  # noqa: N802
        steps = {
            Qt.Key.Key_Right: 1, Qt.Key.Key_Down: 1, Qt.Key.Key_Left: -1, Qt.Key.Key_Up: -1,
        }  # fmt: skip
        key = Qt.Key(event.key())
        if key in steps and len(self._holes):
            self._cursor = ((self._cursor or 0) - 1 + steps[key]) % len(self._holes) + 1
            self.update()
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self._cursor is not None:
            self.chosen.emit(self._cursor)
        elif key in (Qt.Key.Key_Plus, Qt.Key.Key_Minus):
            factor = 1.4 if key == Qt.Key.Key_Plus else 1 / 1.4
            self._zoom_by(factor, QPointF(self.width() / 2, self.height() / 2))
        else:
            super().keyPressEvent(event)
