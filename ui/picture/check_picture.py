"""The photograph of a drilled board with every hole's error as an arrow; zoom and pan."""

from __future__ import annotations

import numpy as np
from PyQt6.QtCore import QPointF, QRectF, QSize, Qt
from PyQt6.QtGui import QBrush, QColor, QPainter, QPainterPath, QPen, QPolygonF
from PyQt6.QtWidgets import QSizePolicy, QWidget

from drillaid.inspection.drawn import Drawn, Mark
from drillaid.inspection.result import DRILLED, HIDDEN
from ui.look.colours import OVER_EDGE, OVER_LINE, Colours
from ui.running.guiding import image_of
from ui.words import mm, tr

ZOOM = (1.0, 14.0)
NEAR = 6.0  # the zoom at which one hole is looked at
BROKEN = "#F07A2B"


class CheckPicture(QWidget):
    """`show_check` sets it; `look_at(hole)` brings one hole near."""

    def __init__(self, colours: Colours) -> None:
        super().__init__()
        self.colours = colours
        self._drawn: Drawn | None = None
        self._image = None
        self._zoom, self._pan = 1.0, QPointF(0, 0)
        self._held: QPointF | None = None
        self._chosen: int | None = None
        self.setFocusPolicy(Qt.FocusPolicy.ClickFocus)
        self.setMinimumSize(300, 220)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName(tr("Photograph of the drilled board with its errors"))

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(640, 480)

    def show_check(self, drawn: Drawn | None) -> None:
        self._drawn = drawn
        self._image = None if drawn is None else image_of(drawn.picture)
        self._zoom, self._pan, self._chosen = 1.0, QPointF(0, 0), None
        self.update()

    def look_at(self, hole: int) -> None:
        """In the middle and near."""
        if self._drawn is None:
            return
        for mark in self._drawn.marks:
            if mark.hole == hole:
                self._chosen, self._zoom = hole, NEAR
                scale = self._scale()
                half = QPointF(self._image.width() / 2, self._image.height() / 2)
                self._pan = (half - QPointF(*mark.asked)) * scale
                self.update()

    # -- drawing -----------------------------------------------------------------------

    def _scale(self) -> float:
        w, h = max(1, self._image.width()), max(1, self._image.height())
        return min(self.width() / w, self.height() / h) * self._zoom

    def paintEvent(self, event) -> None:  # noqa: N802, ARG002
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform)
        painter.fillRect(self.rect(), self.colours.colour("raised"))
        if self._drawn is None:
            return
        scale = self._scale()
        painter.translate(QPointF(self.width() / 2, self.height() / 2) + self._pan)
        painter.scale(scale, scale)
        painter.translate(-self._image.width() / 2, -self._image.height() / 2)
        painter.drawImage(QPointF(0, 0), self._image)
        painter.setClipRect(QRectF(self._image.rect()))
        line = 1.0 / scale  # one px of the screen
        if self._drawn.outline is not None:
            self._stroke(painter, QPolygonF([QPointF(*p) for p in self._drawn.outline]), line, 1.2)
        for mark in self._drawn.marks:
            self._mark(painter, mark, line)
        painter.setClipping(False)
        painter.resetTransform()
        self._scale_bar(painter, scale)

    def _stroke(self, painter: QPainter, polygon: QPolygonF, line: float, width: float) -> None:
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for colour, wide in ((OVER_EDGE, width + 1.6), (OVER_LINE, width)):
            painter.setPen(QPen(QColor(colour), wide * line, Qt.PenStyle.DashLine))
            painter.drawPolygon(polygon)

    def _mark(self, painter: QPainter, mark: Mark, line: float) -> None:
        path = QPainterPath()
        if mark.state == DRILLED:
            path.addEllipse(QPointF(*mark.at), mark.radius, mark.radius)
            if mark.broken:
                far = mark.radius + 5 * line
                path.addEllipse(QPointF(*mark.at), far, far)
        elif mark.state == HIDDEN:
            u, v = mark.asked
            r = 0.6 * self._drawn.px_per_mm
            path.moveTo(u - r, v - r)
            path.lineTo(u + r, v + r)
            path.moveTo(u - r, v + r)
            path.lineTo(u + r, v - r)
        else:
            r = 0.7 * self._drawn.px_per_mm
            path.addRect(QRectF(mark.asked[0] - r, mark.asked[1] - r, 2 * r, 2 * r))
        self._outlined(painter, path, line, 1.6, BROKEN if mark.broken else "#FFFFFF")
        if mark.tip is not None:
            self._arrow(painter, mark, line)
        if mark.numbered or mark.hole == self._chosen:
            self._number(painter, mark, line)

    def _outlined(self, painter, path, line: float, width: float, colour: str) -> None:
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for name, wide in ((OVER_EDGE, width + 2), (colour, width)):
            painter.setPen(QPen(QColor(name), wide * line))
            painter.drawPath(path)

    def _arrow(self, painter: QPainter, mark: Mark, line: float) -> None:
        start, tip = np.array(mark.asked), np.array(mark.tip)
        away = tip - start
        length = float(np.hypot(*away))
        if length < 3 * line:
            return
        unit = away / length
        side = np.array([-unit[1], unit[0]])
        head = min(9 * line, 0.7 * length)
        neck = tip - head * unit
        path = QPainterPath(QPointF(*start))
        path.lineTo(QPointF(*neck))
        point = QPolygonF([QPointF(*tip), QPointF(*(neck + 0.45 * head * side)),
                           QPointF(*(neck - 0.45 * head * side))])  # fmt: skip
        painter.setPen(QPen(QColor(OVER_EDGE), 5 * line))
        painter.drawPath(path)
        painter.drawPolygon(point)
        painter.setPen(QPen(QColor(OVER_LINE), 2.4 * line))
        painter.drawPath(path)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(QColor(OVER_LINE)))
        painter.drawPolygon(point)

    def _number(self, painter: QPainter, mark: Mark, line: float) -> None:
        font = self.font()
        font.setBold(True)
        font.setPixelSize(max(1, self.fontMetrics().height()))
        path = QPainterPath()
        path.addText(0, 0, font, str(mark.hole))
        painter.save()
        reach = 0.9 * self._drawn.px_per_mm
        painter.translate(mark.asked[0] + reach, mark.asked[1] - reach)
        painter.scale(line, line)
        painter.setPen(QPen(QColor(OVER_EDGE), 5))
        painter.drawPath(path)
        painter.fillPath(path, QColor("#FFFFFF"))
        painter.restore()

    def _scale_bar(self, painter: QPainter, scale: float) -> None:
        """A length on the board, and what it stands for in an arrow."""
        bar_mm = 10.0 if self._drawn.px_per_mm * scale * 10 < 0.5 * self.width() else 1.0
        bar = bar_mm * self._drawn.px_per_mm * scale
        words = tr("{board} of board; of an arrow {arrow} (drawn {n} times too long)",
                   board=mm(bar_mm, 0), arrow=mm(bar_mm / self._drawn.enlarged),
                   n=self._drawn.enlarged)  # fmt: skip
        metrics = painter.fontMetrics()
        text = metrics.boundingRect(words)
        box = QRectF(8, self.height() - text.height() - 30, max(bar, text.width()) + 24,
                     text.height() + 22)  # fmt: skip
        painter.fillRect(box, QColor(0, 0, 0, 215))
        painter.setPen(QPen(QColor("#FFFFFF"), 2))
        y = box.bottom() - 8
        painter.drawLine(QPointF(20, y), QPointF(20 + bar, y))
        for x in (20, 20 + bar):
            painter.drawLine(QPointF(x, y - 5), QPointF(x, y + 5))
        painter.drawText(QPointF(20, box.top() + metrics.ascent() + 2), words)

    # -- hand --------------------------------------------------------------------------

    def mousePressEvent(self, event) -> None:  # noqa: N802
        self._held = event.position()

    def mouseMoveEvent(self, event) -> None:  # noqa: N802
        if self._held is not None:
            self._pan += event.position() - self._held
            self._held = event.position()
            self.update()

    def mouseReleaseEvent(self, event) -> None:  # noqa: N802, ARG002
        self._held = None

    def wheelEvent(self, event) -> None:  # noqa: N802
        middle = QPointF(self.width() / 2, self.height() / 2)
        self.zoom_by(1.2 ** (event.angleDelta().y() / 120.0), event.position() - middle)

    def zoom_by(self, factor: float, about: QPointF | None = None) -> None:
        about = QPointF(0, 0) if about is None else about
        zoom = float(np.clip(self._zoom * factor, *ZOOM))
        self._pan = (self._pan - about) * (zoom / self._zoom) + about
        self._zoom = zoom
        if zoom == ZOOM[0]:
            self._pan = QPointF(0, 0)
        self.update()
