"""The whole picture of a camera, as it is, with what was seen in it drawn over."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import partial

import numpy as np
from PyQt6.QtCore import QPointF, QRectF, Qt, pyqtSignal
from PyQt6.QtGui import QBrush, QColor, QFont, QPainter

from ui.look.colours import Colours
from ui.picture.camera_picture import CameraPicture
from ui.running.looking import Look
from ui.words import tr

STEP_SHARE = 0.01  # of the picture's width: what an arrow key moves the pointer by


@dataclass(frozen=True, eq=False)
class Overlay:
    """All in px of the photograph. grid: (rows, columns) bool, unseen cells are hatched
    points: (N, 2) small crosses; rings: (N, 2) large rings; pointing: a click is wanted
    """

    grid: np.ndarray | None = None
    points: np.ndarray | None = None
    rings: np.ndarray | None = None
    pointing: bool = False


class LivePicture(CameraPicture):
    """pointed(u, v): px of the photograph, by a click or by the arrow keys and Enter"""

    pointed = pyqtSignal(float, float)

    def __init__(self, colours: Colours) -> None:
        super().__init__(colours)
        self.overlay = Overlay()
        self._look: Look | None = None
        self._cursor: tuple[float, float] | None = None
        self.setMinimumSize(320, 220)
        self.pressed.connect(self._pressed)

    def show_look(self, look: Look | None, overlay: Overlay, over: str = "") -> None:
        """over: written across the picture"""
        self._look, self.overlay, self.over = look, overlay, over
        pointing = overlay.pointing and look is not None and look.image is not None
        focus = Qt.FocusPolicy.StrongFocus if pointing else Qt.FocusPolicy.NoFocus
        self.setFocusPolicy(focus)
        if not pointing:
            self._cursor = None
        shape = Qt.CursorShape.CrossCursor if pointing else Qt.CursorShape.ArrowCursor
        self.setCursor(shape)
        self.setAccessibleDescription(over)
        self.update()

    # -- where the photograph lies in the widget --------------------------------------

    def _box(self) -> QRectF:
        """Device px."""
        width, height = self.size_px()
        across, down = self._look.size_px
        scale = min(width / across, height / down)
        box = QRectF(0, 0, across * scale, down * scale)
        box.moveCenter(QPointF(width / 2, height / 2))
        return box

    def _to_widget(self, px) -> np.ndarray:
        box = self._box()
        scale = box.width() / self._look.size_px[0]
        return (np.asarray(px, dtype=float).reshape(-1, 2) + 0.5) * scale + [box.x(), box.y()]

    def _from_widget(self, x: float, y: float) -> tuple[float, float] | None:
        box = self._box()
        if not box.contains(x, y):
            return None
        scale = box.width() / self._look.size_px[0]
        return (x - box.x()) / scale - 0.5, (y - box.y()) / scale - 0.5

    # -- drawing ------------------------------------------------------------------------

    def paintEvent(self, event) -> None:  # noqa: N802, ARG002
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor("#101010"))
        ratio = self.devicePixelRatioF()
        painter.scale(1 / ratio, 1 / ratio)
        width, height = self.size_px()
        look = self._look
        if look is not None and look.image is not None:
            painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
            painter.drawImage(self._box(), look.image)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            self._overlay(painter)
        if self.over:
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            self._across(painter, width, height)
        if self.hasFocus():
            self._stroke(painter, lambda p: p.drawRect(QRectF(2, 2, width - 4, height - 4)), 3)

    def _overlay(self, painter: QPainter) -> None:
        unit, overlay = self._unit(), self.overlay
        if overlay.grid is not None:
            self._grid(painter, overlay.grid)
        if overlay.points is not None and len(overlay.points):
            arm = 4 * unit
            spots = self._to_widget(overlay.points)

            def crosses(p: QPainter) -> None:
                for x, y in spots:
                    p.drawLine(QPointF(x - arm, y), QPointF(x + arm, y))
                    p.drawLine(QPointF(x, y - arm), QPointF(x, y + arm))

            self._stroke(painter, crosses, 1.6 * unit)
        rings = () if overlay.rings is None else self._to_widget(overlay.rings)
        for x, y in rings:
            self._stroke(painter, partial(self._aimed, at=QPointF(x, y)), 3 * unit)
        if self._cursor is not None:
            x, y = self._to_widget([self._cursor])[0]
            self._stroke(painter, partial(self._aimed, at=QPointF(x, y), share=0.5), 2 * unit)
        if overlay.pointing:
            self._caption(painter, tr("Click on the hole, or move with the arrow keys and press "
                                      "Enter"))  # fmt: skip

    def _aimed(self, painter: QPainter, at: QPointF, share: float = 1.0) -> None:
        """A ring and four strokes outside of it: the middle stays free to be seen."""
        near, far = 16 * share * self._unit(), 40 * share * self._unit()
        painter.drawEllipse(at, near, near)
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            painter.drawLine(at + QPointF(dx, dy) * near, at + QPointF(dx, dy) * far)

    def _grid(self, painter: QPainter, grid: np.ndarray) -> None:
        box = self._box()
        rows, columns = grid.shape
        wide, high = box.width() / columns, box.height() / rows
        painter.setPen(Qt.PenStyle.NoPen)
        for row in range(rows):
            for column in range(columns):
                if grid[row, column]:
                    continue
                cell = QRectF(box.x() + column * wide, box.y() + row * high, wide, high)
                painter.fillRect(cell, QColor(0, 0, 0, 90))
                painter.fillRect(cell, QBrush(QColor(255, 255, 255, 150),
                                              Qt.BrushStyle.BDiagPattern))  # fmt: skip

    def _caption(self, painter: QPainter, words: str) -> None:
        font = QFont(self.font())
        font.setPixelSize(int(20 * self._unit()))
        painter.setFont(font)
        width, height = self.size_px()
        flags = int(Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignBottom)
        flags |= int(Qt.TextFlag.TextWordWrap)
        room = QRectF(12, 0.6 * height, width - 24, 0.4 * height - 12)
        told = painter.boundingRect(room, flags, words)
        painter.fillRect(told.adjusted(-10, -6, 10, 6), QColor(0, 0, 0, 215))
        painter.setPen(QColor("#FFFFFF"))
        painter.drawText(room, flags, words)

    # -- pointing ------------------------------------------------------------------------

    def _pressed(self, x: float, y: float) -> None:
        if not self.overlay.pointing or self._look is None or self._look.size_px is None:
            return
        at = self._from_widget(x, y)
        if at is not None:
            self._cursor = at
            self.pointed.emit(*at)

    def keyPressEvent(self, event) -> None:  # noqa: N802
        look = self._look
        way = _ARROWS.get(Qt.Key(event.key()))
        if not self.overlay.pointing or look is None or look.size_px is None:
            super().keyPressEvent(event)
        elif way is not None:
            width, height = look.size_px
            fine = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
            step = 1.0 if fine else max(1.0, STEP_SHARE * width)
            u, v = self._cursor or (width / 2, height / 2)
            self._cursor = (
                math.fmod(u + way[0] * step + width, width),
                math.fmod(v + way[1] * step + height, height),
            )
            self.update()
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self._cursor is not None:
            self.pointed.emit(*self._cursor)
        else:
            super().keyPressEvent(event)


_ARROWS = {
    Qt.Key.Key_Left: (-1, 0),
    Qt.Key.Key_Right: (1, 0),
    Qt.Key.Key_Up: (0, -1),
    Qt.Key.Key_Down: (0, 1),
}
