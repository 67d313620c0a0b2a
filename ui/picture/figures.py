"""The large figures beside the picture: the state, the way to push and how far still."""

from __future__ import annotations

import math

from PyQt6.QtCore import QRectF, QSize, Qt
from PyQt6.QtGui import QFont, QPainter
from PyQt6.QtWidgets import QSizePolicy, QWidget

from drillaid.guidance import guidance as g
from drillaid.guidance.guidance import Guidance
from drillaid.guidance.scene import Scene
from ui.look.colours import Colours
from ui.look.signs import guidance_sign
from ui.words import number, tr

# 10 mm on a 24 inch full-HD screen (0.277 mm a pixel) are 36 px; digits are 0.73 of the type.
FIGURE_PX = 104
STATES = {
    g.MOVE: ("key", "on_key"),
    g.HOLD: ("wait", "on_wait"),
    g.ON_TARGET: ("good", "on_good"),
    g.UNSURE: ("wait", "on_wait"),
    g.LOST: ("bad", "on_bad"),
    g.UNTRUE: ("bad", "on_bad"),
    g.CHANGE_BIT: ("wait", "on_wait"),
    g.PAUSED: ("wait", "on_wait"),
    g.FINISHED: ("good", "on_good"),
}


def state_word(state: str) -> str:
    """The word on the band."""
    return {
        g.MOVE: tr("PUSH"),
        g.HOLD: tr("HOLD STILL"),
        g.ON_TARGET: tr("DRILL"),
        g.UNSURE: tr("NOT SURE"),
        g.LOST: tr("NOT SEEN"),
        g.UNTRUE: tr("CAMERA MOVED"),
        g.CHANGE_BIT: tr("OTHER BIT"),
        g.PAUSED: tr("PAUSED"),
        g.FINISHED: tr("ALL DONE"),
    }[state]


def way_words(off_mm: tuple[float, float]) -> str:
    """ "right 1.20, away 0.35": both parts of the push, in figures."""
    dx, dy = off_mm
    across = tr("right") if dx >= 0 else tr("left")
    along = tr("away") if dy >= 0 else tr("to you")
    return f"{across} {number(abs(dx))}   {along} {number(abs(dy))}"


class FigurePanel(QWidget):
    """A band with sign and word, the distance in large figures, and its two parts."""

    def __init__(self, colours: Colours, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.colours = colours
        self._guidance: Guidance | None = None
        self._angle_rad = 0.0
        self._push_mm: tuple[float, float] | None = None
        self.setMinimumSize(260, 190)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(400, 270)

    def show_guidance(self, guidance: Guidance, scene: Scene | None) -> None:
        self._guidance = guidance
        off = None if scene is None else scene.off
        if off is not None:
            self._angle_rad = math.atan2(-off[1], off[0])
        self._push_mm = guidance.off_mm if scene is None else scene.push_mm
        told = state_word(guidance.state)
        if guidance.distance_mm is not None:
            told += f", {number(guidance.distance_mm)} mm"
        self.setAccessibleName(told)
        self.update()

    @property
    def shown(self) -> str:
        return self.accessibleName()

    def paintEvent(self, event) -> None:  # noqa: N802, ARG002
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        guidance = self._guidance
        if guidance is None:
            return
        scale = min(self.height() / 282, self.width() / 380)
        role, on_role = STATES[guidance.state]
        band = QRectF(0, 0, self.width(), 104 * scale)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(self.colours.colour(role))
        painter.drawRoundedRect(band, 8, 8)
        painter.save()
        painter.translate(60 * scale, 52 * scale)
        painter.scale(34 * scale, 34 * scale)
        guidance_sign(painter, guidance.state, self.colours.colour(on_role), self._angle_rad)
        painter.restore()
        word = state_word(guidance.state)
        painter.setPen(self.colours.colour(on_role))
        self._type(painter, 46 * scale, word, self.width() - 130 * scale)
        painter.drawText(
            band.adjusted(112 * scale, 0, -8, 0),
            Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft,
            word,
        )
        painter.setPen(self.colours.colour("ink"))
        far = guidance.distance_mm
        text = "– – –" if far is None else number(far, 2 if far < 100 else 0)
        self._type(painter, FIGURE_PX * scale, text, self.width() - 110 * scale)
        box = QRectF(6, 108 * scale, self.width() - 100 * scale, 120 * scale)
        painter.drawText(box, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignRight, text)
        self._type(painter, 40 * scale, "mm", 200)
        unit = QRectF(box.right() + 10 * scale, box.top(), 90 * scale, box.height() - 14 * scale)
        painter.drawText(unit, Qt.AlignmentFlag.AlignBottom | Qt.AlignmentFlag.AlignLeft, "mm")
        if self._push_mm is not None:
            way = way_words(self._push_mm)
            self._type(painter, 30 * scale, way, self.width() - 16)
            line = QRectF(8, 234 * scale, self.width() - 16, 40 * scale)
            painter.drawText(line, Qt.AlignmentFlag.AlignCenter, way)

    def _type(self, painter: QPainter, size_px: float, text: str, room: float) -> None:
        font = QFont(self.font())
        font.setBold(True)
        font.setPixelSize(max(8, int(size_px)))
        painter.setFont(font)
        wide = painter.fontMetrics().horizontalAdvance(text)
        if wide > room > 0:
            font.setPixelSize(max(8, int(size_px * room / wide)))
            painter.setFont(font)
