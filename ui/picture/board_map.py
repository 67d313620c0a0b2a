"""The whole board with every hole's state; zoom, pan, and a hole chosen by a click."""

from __future__ import annotations

import numpy as np
from PyQt6.QtCore import QPointF, QRectF, QSize, Qt, pyqtSignal
from PyQt6.QtGui import QColor, QFont, QImage, QPainter, QPen, QTransform
from PyQt6.QtWidgets import QSizePolicy, QWidget

from drillaid.geometry import Affine
from drillaid.guidance.scene import TARGET
from ui.look.colours import Colours
from ui.look.signs import hole_sign
from ui.words import tr

_ROOM = 0.94  # of the widget's sides
ZOOM = (1.0, 12.0)
PICK_PX = 18.0
LEAST_TARGET_PX = 9.0
TREMBLE_RAD = 0.03


class BoardMap(QWidget):
    """chosen(hole): clicked, or taken with Enter after stepping with the arrow keys.

    turn_rad: the board is drawn turned by so much, clockwise: as it lies before the hand
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
        self.turn_rad = 0.0
        self._near = 1.0
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
        self._near = _usual_gap(self._holes)
        self._zoom, self._pan, self._cursor = 1.0, QPointF(0, 0), None
        self.update()

    def show_turn(self, turn_rad: float) -> None:
        """Small changes are left alone: a map that trembles is read badly."""
        away = (turn_rad - self.turn_rad + np.pi) % (2 * np.pi) - np.pi
        if abs(away) > TREMBLE_RAD:
            self.turn_rad = turn_rad
            self.update()

    def show_states(self, states: tuple[str, ...]) -> None:
        if states != self._states:
            self._states = states
            self.update()

    # -- drawing ------------------------------------------------------------------

    def _scale(self) -> float:
        """Widget px to a picture's px: the turned board fits."""
        c, s = abs(np.cos(self.turn_rad)), abs(np.sin(self.turn_rad))
        wide, high = self._size
        across, along = wide * c + high * s, wide * s + high * c
        return min(self.width() / across, self.height() / along) * _ROOM * self._zoom

    def _to_widget(self) -> QTransform:
        """Picture px -> widget px."""
        middle = QPointF(self.width() / 2, self.height() / 2) + self._pan
        scale = self._scale()
        made = QTransform().translate(middle.x(), middle.y()).rotateRadians(self.turn_rad)
        made.scale(scale, scale)
        return made.translate(-self._size[0] / 2, -self._size[1] / 2)

    def places(self) -> np.ndarray:
        """(N, 2) of the holes, widget px."""
        t = self._to_widget()
        linear = np.array([[t.m11(), t.m12()], [t.m21(), t.m22()]])
        return (self._holes + 0.5) @ linear + [t.dx(), t.dy()]

    def paintEvent(self, event) -> None:  # noqa: N802, ARG002
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        painter.fillRect(self.rect(), self.colours.colour("raised"))
        if self._picture is None:
            return
        painter.setTransform(self._to_widget(), True)
        painter.drawImage(QRectF(0, 0, *self._size), self._picture)
        painter.resetTransform()
        size = self._sign_px()
        marked = []
        for number, ((x, y), state) in enumerate(
            zip(self.places(), self._states, strict=False), start=1
        ):
            at = QPointF(x, y)
            if state == TARGET:
                marked.append(at)
            else:
                self._sign(painter, at, state, size)
            if number == self._cursor:
                self._cursor_box(painter, at, size, number)
        for at in marked:  # last, so that no neighbour covers them
            self._sign(painter, at, TARGET, max(size, LEAST_TARGET_PX))

    def _sign_px(self) -> float:
        """So large that neighbours do not run into one another."""
        return float(np.clip(0.36 * self._near * self._scale(), 2.2, 13.0))

    def _sign(self, painter: QPainter, at: QPointF, state: str, size: float) -> None:
        painter.save()
        painter.translate(at)
        painter.scale(size, size)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(255, 255, 255, 225))
        painter.drawEllipse(QPointF(0, 0), 1.25, 1.25)
        if state == TARGET:  # a white edge about its four strokes
            hole_sign(painter, state, QColor("#FFFFFF"), QColor("#FFFFFF"), 0.8)
        hole_sign(painter, state, QColor("#101418"), QColor("#FFFFFF"))
        painter.restore()

    def _cursor_box(self, painter: QPainter, at: QPointF, size: float, number: int) -> None:
        half = max(2.0 * size, 9.0)
        painter.setPen(QPen(QColor("#0072B2"), 4))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(QRectF(at.x() - half, at.y() - half, 2 * half, 2 * half))
        self._label(painter, at, half / 2, number)

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
        far = np.hypot(*(self.places() - [point.x(), point.y()]).T)
        nearest = int(np.argmin(far))
        return nearest + 1 if far[nearest] <= PICK_PX else None

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
        elif key == Qt.Key.Key_0:
            self._zoom, self._pan = ZOOM[0], QPointF(0, 0)
            self.update()
        else:
            super().keyPressEvent(event)


def _usual_gap(holes: np.ndarray) -> float:
    """From a hole to its nearest neighbour, as most have it, picture px."""
    if len(holes) < 2:
        return 60.0
    away = np.hypot(*(holes[:, None] - holes[None, :]).transpose(2, 0, 1))
    np.fill_diagonal(away, np.inf)
    return float(np.median(away.min(axis=1)))
