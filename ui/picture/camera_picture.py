"""The camera's picture with the aim drawn over it. Draws a `Scene`; works nothing out."""

from __future__ import annotations

import math

from PyQt6.QtCore import QPointF, QRectF, QSize, Qt, pyqtSignal
from PyQt6.QtGui import QBrush, QColor, QFont, QImage, QPainter, QPen, QPolygonF
from PyQt6.QtWidgets import QSizePolicy, QWidget

from drillaid.guidance.scene import LEFT, TARGET, Scene
from ui.look.colours import OVER_EDGE, OVER_LINE, Colours
from ui.look.signs import hole_sign
from ui.words import tr


class CameraPicture(QWidget):
    """pressed(x, y), dragged(dx, dy, turning), released(): of the mouse, widget px.

    over: what is wrong with the picture, written large across it; "" for nothing
    notice: what should be minded, on a band at the top; "" for nothing
    marks, cross: places pointed out, and the one that keys would point at, device px
    aiming: draws tolerance, doubt and the way to push, else the holes alone
    """

    pressed = pyqtSignal(float, float)
    dragged = pyqtSignal(float, float, bool)
    wheeled = pyqtSignal(float)
    resized = pyqtSignal(int, int)

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.colours = colours
        self.aiming = True
        self.over = self.notice = ""
        self.within = False
        self.marks: list[tuple[float, float]] = []
        self.cross: tuple[float, float] | None = None
        self._image: QImage | None = None
        self._scene: Scene | None = None
        self._held: QPointF | None = None
        self.setMinimumSize(320, 240)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName(tr("Camera picture"))

    def sizeHint(self) -> QSize:  # noqa: N802 - Qt's name
        return QSize(960, 720)

    def size_px(self) -> tuple[int, int]:
        """Device pixels, which pictures are made for."""
        ratio = self.devicePixelRatioF()
        return max(16, round(self.width() * ratio)), max(16, round(self.height() * ratio))

    def show_sight(self, image: QImage | None, scene: Scene | None, *, within: bool = False,
                   over: str = "", notice: str = "") -> None:  # fmt: skip
        """within: the target lies within tolerance; over, notice: see the class."""
        self._image, self._scene, self.within, self.over = image, scene, within, over
        self.notice = notice
        self.update()

    # -- drawing ----------------------------------------------------------------

    def paintEvent(self, event) -> None:  # noqa: N802, ARG002
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor("#101010"))
        ratio = self.devicePixelRatioF()
        painter.scale(1 / ratio, 1 / ratio)  # from here on device pixels, as the scene's
        width, height = self.size_px()
        if self._image is not None:
            painter.drawImage(QRectF(0, 0, width, height), self._image)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        scene = self._scene
        if scene is not None and scene.view.size == (width, height):
            self._holes(painter, scene)
            if self.aiming:
                self._aim(painter, scene, width, height)
        self._pointed(painter)
        if self.over:
            self._across(painter, width, height)
        elif self.notice:
            self._band(painter, width)

    def _unit(self) -> float:
        return max(1.0, min(self.size_px()) / 700)

    def _stroke(self, painter: QPainter, draw, width: float, colour: str = OVER_LINE) -> None:
        """Twice: a dark edge first, so that it is seen on any picture."""
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for tint, wide in ((OVER_EDGE, width + 3 * self._unit()), (colour, width)):
            painter.setPen(QPen(QColor(tint), wide))
            draw(painter)

    def _holes(self, painter: QPainter, scene: Scene) -> None:
        size = 5.0 * self._unit()
        for (x, y), state in zip(scene.holes, scene.states, strict=False):
            if not (math.isfinite(x) and math.isfinite(y)) or (state == TARGET and self.aiming):
                continue
            state = LEFT if state == TARGET else state  # while nobody aims it is one of them
            for colour, grow in ((OVER_EDGE, 1.35), ("#FFFFFF", 1.0)):
                painter.save()
                painter.translate(x, y)
                painter.scale(size * grow, size * grow)
                hole_sign(painter, state, QColor(colour), QColor(OVER_EDGE))
                painter.restore()

    def _aim(self, painter: QPainter, scene: Scene, width: int, height: int) -> None:
        unit = self._unit()
        if scene.spindle is not None:
            at = QPointF(*scene.spindle)
            near = scene.tolerance
            line = 5.0 * unit if self.within else 3.0 * unit
            self._stroke(painter, lambda p: p.drawEllipse(at, near, near), line)
            self._stroke(painter, lambda p: self._gauge(p, at, near), 2.5 * unit)
        if scene.target is None or scene.spindle is None:
            return
        target = QPointF(*scene.target)
        if scene.doubt is not None:
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QBrush(QColor(255, 255, 255, 190), Qt.BrushStyle.BDiagPattern))
            painter.drawEllipse(target, scene.doubt, scene.doubt)
        for radius in (scene.bit, scene.land):
            if radius is not None:
                self._stroke(painter, lambda p, r=radius: p.drawEllipse(target, r, r),
                             2.0 * unit, "#56B4E9")  # fmt: skip
        if not self.within:
            self._push(painter, target, QPointF(*scene.spindle), scene.tolerance, width, height)

    def _gauge(self, painter: QPainter, at: QPointF, near: float) -> None:
        """Four short strokes outside the tolerance: where the bit comes down."""
        start, end = near + 8 * self._unit(), near + 34 * self._unit()
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            painter.drawLine(
                QPointF(at.x() + dx * start, at.y() + dy * start),
                QPointF(at.x() + dx * end, at.y() + dy * end),
            )

    def _push(self, painter: QPainter, start: QPointF, end: QPointF, near: float, width: int,
              height: int) -> None:  # fmt: skip
        """From the target to the axis, as a barbed line that ends at the tolerance."""
        way = end - start
        length = math.hypot(way.x(), way.y())
        if length <= near or length < 1e-6:
            return
        along = way / length
        tip = end - along * near
        if not QRectF(0, 0, width, height).contains(start):
            # The target is out of sight: begin at the picture's edge.
            start = tip - along * min(length - near, 0.42 * min(width, height))
        unit = self._unit()
        across = QPointF(-along.y(), along.x())
        barb = min(26 * unit, 0.6 * max(length - near, 4.0))

        def draw(p: QPainter) -> None:
            p.drawLine(start, tip)
            p.drawPolyline(
                QPolygonF(
                    [
                        tip - along * barb + across * barb * 0.6,
                        tip,
                        tip - along * barb - across * barb * 0.6,
                    ]
                )  # fmt: skip
            )

        self._stroke(painter, draw, 6.0 * unit)

    def _across(self, painter: QPainter, width: int, height: int) -> None:
        """A dark, hatched frame and the words: seen from a metre, told without colour."""
        painter.fillRect(QRectF(0, 0, width, height), QColor(0, 0, 0, 120))
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(QColor("#FFFFFF"), Qt.BrushStyle.DiagCrossPattern))
        edge = 18 * self._unit()
        for box in (
            QRectF(0, 0, width, edge), QRectF(0, height - edge, width, edge),
            QRectF(0, 0, edge, height), QRectF(width - edge, 0, edge, height),
        ):  # fmt: skip
            painter.drawRect(box)
        font = QFont(self.font())
        font.setPixelSize(int(30 * self._unit()))
        font.setBold(True)
        painter.setFont(font)
        box = QRectF(0.08 * width, 0.25 * height, 0.84 * width, 0.5 * height)
        flags = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
        told = painter.boundingRect(box, int(flags), self.over)
        painter.fillRect(told.adjusted(-24, -18, 24, 18), QColor(0, 0, 0, 215))
        painter.setPen(QColor("#FFFFFF"))
        painter.drawText(box, int(flags), self.over)

    def _pointed(self, painter: QPainter) -> None:
        unit = self._unit()
        for x, y in self.marks:
            at = QPointF(x, y)
            self._stroke(painter, lambda p, a=at: p.drawEllipse(a, 12 * unit, 12 * unit), 4 * unit)
        if self.cross is not None:
            x, y = self.cross
            for dx, dy in ((1, 0), (0, 1)):
                ends = [QPointF(x + k * dx * unit, y + k * dy * unit) for k in (-22, -5, 5, 22)]
                for a, b in (ends[:2], ends[2:]):
                    self._stroke(painter, lambda p, a=a, b=b: p.drawLine(a, b), 3 * unit)

    def _band(self, painter: QPainter, width: int) -> None:
        font = QFont(self.font())
        font.setPixelSize(int(24 * self._unit()))
        font.setBold(True)
        painter.setFont(font)
        flags = int(Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap)
        room = QRectF(20, 12, width - 40, 400)
        told = painter.boundingRect(room, flags, self.notice)
        band = QRectF(0, 0, width, told.height() + 28)
        painter.fillRect(band, QColor(0, 0, 0, 220))
        painter.fillRect(QRectF(0, band.bottom(), width, 5), QColor("#FFFFFF"))
        painter.setPen(QColor("#FFFFFF"))
        painter.drawText(band.adjusted(20, 0, -20, 0), flags, self.notice)

    # -- the mouse ----------------------------------------------------------------

    def resizeEvent(self, event) -> None:  # noqa: N802, ARG002
        self.resized.emit(*self.size_px())

    def mousePressEvent(self, event) -> None:  # noqa: N802
        self._held = event.position()
        ratio = self.devicePixelRatioF()
        self.pressed.emit(event.position().x() * ratio, event.position().y() * ratio)

    def mouseMoveEvent(self, event) -> None:  # noqa: N802
        if self._held is None:
            return
        ratio = self.devicePixelRatioF()
        step = (event.position() - self._held) * ratio
        self._held = event.position()
        turning = bool(event.buttons() & Qt.MouseButton.RightButton)
        self.dragged.emit(step.x(), step.y(), turning)

    def mouseReleaseEvent(self, event) -> None:  # noqa: N802, ARG002
        self._held = None

    def wheelEvent(self, event) -> None:  # noqa: N802
        self.wheeled.emit(event.angleDelta().y() / 120.0)
