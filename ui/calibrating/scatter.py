"""Holes about the spindle axis as they were measured: how far the bit wanders."""

from __future__ import annotations

import math
from collections.abc import Sequence

from PyQt6.QtCore import QPointF, QRectF, QSize, Qt
from PyQt6.QtGui import QBrush, QPainter, QPen
from PyQt6.QtWidgets import QSizePolicy, QWidget

from ui.look.colours import Colours
from ui.look.signs import hole_sign
from ui.words import number, tr

RINGS_MM = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0)


class Scatter(QWidget):
    """offsets_mm: of each hole from the axis, x right and y away; used: whether it counts;
    sigma_mm: of the axis, drawn as a hatched disc"""

    def __init__(self, colours: Colours) -> None:
        super().__init__()
        self.colours = colours
        self._offsets: list[tuple[float, float]] = []
        self._used: list[bool] = []
        self._sigma_mm = 0.0
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:  # noqa: N802
        side = round(self.fontMetrics().height() * 9)
        return QSize(side, side)

    def show_holes(self, offsets_mm: Sequence, used: Sequence[bool], sigma_mm: float) -> None:
        self._offsets = [(float(x), float(y)) for x, y in offsets_mm]
        self._used, self._sigma_mm = list(used), sigma_mm
        far = max((math.hypot(x, y) for x, y in self._offsets), default=0.0)
        self.setAccessibleName(
            tr("{n} holes, the farthest {d} mm from the axis", n=len(used), d=number(far, 3))
        )
        self.setToolTip(self.accessibleName())
        self.update()

    def paintEvent(self, event) -> None:  # noqa: N802, ARG002
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        c = self.colours
        line = self.fontMetrics().height()
        painter.setPen(QPen(c.colour("line"), 2))
        painter.setBrush(c.colour("ground"))
        painter.drawRoundedRect(QRectF(self.rect()).adjusted(1, 1, -1, -1), 6, 6)
        middle = QPointF(self.width() / 2, self.height() / 2)
        reach = max([math.hypot(x, y) for x, y in self._offsets] + [self._sigma_mm, 0.02]) * 1.15
        px_per_mm = (min(self.width(), self.height()) / 2 - 0.6 * line) / reach
        painter.setBrush(Qt.BrushStyle.NoBrush)
        small = self.font()
        small.setPointSizeF(small.pointSizeF() * 0.8)
        painter.setFont(small)
        for ring in RINGS_MM:
            radius = ring * px_per_mm
            if not 1.4 * line <= radius <= 0.5 * min(self.width(), self.height()):
                continue
            painter.setPen(QPen(c.colour("line"), 1.4, Qt.PenStyle.DashLine))
            painter.drawEllipse(middle, radius, radius)
            painter.setPen(c.colour("quiet"))
            digits = 2 if ring < 0.1 else 1
            painter.drawText(QPointF(middle.x() + 4, middle.y() - radius + 0.8 * line),
                             f"{number(ring, digits)} mm")  # fmt: skip
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QBrush(c.colour("key"), Qt.BrushStyle.BDiagPattern))
        doubt = self._sigma_mm * px_per_mm
        painter.drawEllipse(middle, doubt, doubt)
        painter.setPen(QPen(c.colour("key"), 2))
        for dx, dy in ((1, 0), (0, 1)):
            arm = QPointF(dx, dy) * 0.7 * line
            painter.drawLine(middle - arm, middle + arm)
        for (x, y), used in zip(self._offsets, self._used, strict=True):
            painter.save()
            painter.translate(middle + QPointF(x, -y) * px_per_mm)
            painter.scale(0.3 * line, 0.3 * line)
            role = "ink" if used else "bad"
            hole_sign(painter, "done" if used else "skipped", c.colour(role), c.colour("ground"))
            painter.restore()
