"""Drawn signs: each state has a shape of its own, so that no meaning rests on colour.

All are drawn from the thing itself: a land with its hole. Centred on (0, 0), radius 1.
"""

from __future__ import annotations

import math

from PyQt6.QtCore import QPointF, QRectF, Qt
from PyQt6.QtGui import QColor, QPainter, QPainterPath, QPen, QPolygonF

from drillaid.guidance import guidance as g
from drillaid.guidance.scene import DONE, LEFT, SKIPPED, TARGET

_UNIT = QRectF(-1, -1, 2, 2)


def hole_sign(painter: QPainter, state: str, colour: QColor, ground: QColor,
              stroke: float = 0.35) -> None:  # fmt: skip
    """A land as it stands: open, drilled through, put aside with a bar, or aimed at."""
    pen = QPen(colour, stroke)
    painter.setPen(pen)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    if state == DONE:
        painter.setBrush(colour)
        painter.drawEllipse(_UNIT)
        painter.setBrush(ground)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.drawEllipse(QRectF(-0.5, -0.5, 1, 1))
    elif state == SKIPPED:
        painter.drawEllipse(_UNIT)
        painter.drawLine(QPointF(-1.3, 1.3), QPointF(1.3, -1.3))
    elif state == TARGET:
        painter.drawEllipse(QRectF(-0.8, -0.8, 1.6, 1.6))
        for k in range(4):
            c, s = math.cos(k * math.pi / 2), math.sin(k * math.pi / 2)
            painter.drawLine(QPointF(1.2 * c, 1.2 * s), QPointF(2.1 * c, 2.1 * s))
    elif state == LEFT:
        painter.drawEllipse(QRectF(-0.85, -0.85, 1.7, 1.7))


def guidance_sign(painter: QPainter, state: str, colour: QColor, angle_rad: float = 0.0) -> None:
    """What the hand should do. angle_rad: the way to push, counter-clockwise from the right."""
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(colour)
    outline = QPen(colour, 0.22, cap=Qt.PenCapStyle.FlatCap)
    if state == g.MOVE:
        painter.save()
        painter.rotate(-math.degrees(angle_rad))
        painter.drawPolygon(
            QPolygonF(
                [
                    QPointF(*p)
                    for p in (
                        (1, 0),
                        (0.1, 0.85),
                        (0.1, 0.32),
                        (-1, 0.32),
                        (-1, -0.32),
                        (0.1, -0.32),
                        (0.1, -0.85),
                    )
                ]  # fmt: skip
            )
        )
        painter.restore()
    elif state == g.HOLD:
        painter.drawRect(QRectF(-0.75, -0.9, 0.5, 1.8))
        painter.drawRect(QRectF(0.25, -0.9, 0.5, 1.8))
    elif state == g.ON_TARGET:
        # A bit going down into its land.
        painter.drawRect(QRectF(-0.28, -1, 0.56, 1.05))
        painter.drawPolygon(QPolygonF([QPointF(-0.62, 0), QPointF(0.62, 0), QPointF(0, 0.72)]))
        painter.drawRect(QRectF(-1, 0.78, 2, 0.22))
    elif state == g.UNSURE:
        painter.setPen(outline)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        wave = QPainterPath(QPointF(-1, 0))
        wave.cubicTo(QPointF(-0.5, -1.1), QPointF(-0.2, -1.1), QPointF(0, 0))
        wave.cubicTo(QPointF(0.2, 1.1), QPointF(0.5, 1.1), QPointF(1, 0))
        painter.drawPath(wave)
    elif state == g.LOST:
        painter.setPen(outline)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawEllipse(QRectF(-0.9, -0.5, 1.8, 1.0))
        painter.drawLine(QPointF(-0.9, 0.9), QPointF(0.9, -0.9))
    elif state == g.UNTRUE:
        # A frame, and the same frame knocked out of its place.
        painter.setPen(outline)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawRect(QRectF(-0.95, -0.55, 1.3, 1.3))
        painter.save()
        painter.translate(0.35, -0.1)
        painter.rotate(28)
        painter.drawRect(QRectF(-0.6, -0.6, 1.2, 1.2))
        painter.restore()
    elif state == g.CHANGE_BIT:
        painter.drawRect(QRectF(-0.75, -1, 0.3, 2))
        painter.drawRect(QRectF(0.3, -1, 0.6, 2))
        painter.drawPolygon(QPolygonF([QPointF(-0.3, -0.3), QPointF(0.2, 0), QPointF(-0.3, 0.3)]))
    elif state == g.PAUSED:
        painter.drawRect(QRectF(-0.85, -0.85, 1.7, 1.7))
    elif state == g.FINISHED:
        painter.setPen(QPen(colour, 0.34))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawPolyline([QPointF(-0.9, 0.1), QPointF(-0.25, 0.7), QPointF(0.95, -0.7)])


STEP_DONE, STEP_NOW, STEP_OPEN, STEP_SHUT = "done", "now", "open", "shut"


def step_sign(painter: QPainter, standing: str, colour: QColor, ground: QColor) -> None:
    """A step of the way: done (tick), now (full), can be gone to (ring), shut (ring, barred)."""
    pen = QPen(colour, 0.26)
    painter.setPen(pen)
    painter.setBrush(colour if standing == STEP_NOW else Qt.BrushStyle.NoBrush)
    if standing == STEP_DONE:
        painter.drawPolyline([QPointF(-0.8, 0.05), QPointF(-0.2, 0.6), QPointF(0.85, -0.65)])
        return
    painter.drawEllipse(QRectF(-0.8, -0.8, 1.6, 1.6))
    if standing == STEP_NOW:
        painter.setBrush(ground)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.drawEllipse(QRectF(-0.3, -0.3, 0.6, 0.6))
    elif standing == STEP_SHUT:
        painter.drawLine(QPointF(-0.45, 0), QPointF(0.45, 0))


PART_DONE, PART_MISSING, PART_STALE = "done", "missing", "out of date"


def part_sign(painter: QPainter, state: str, colour: QColor) -> None:
    """A part of the rig: done (a tick), missing (a dotted ring), out of date (a ring in two
    halves that no longer meet, struck through)."""
    painter.setBrush(Qt.BrushStyle.NoBrush)
    if state == PART_DONE:
        painter.setPen(QPen(colour, 0.34))
        painter.drawPolyline([QPointF(-0.85, 0.1), QPointF(-0.25, 0.65), QPointF(0.9, -0.65)])
    elif state == PART_MISSING:
        painter.setPen(QPen(colour, 0.24, Qt.PenStyle.DotLine))
        painter.drawEllipse(QRectF(-0.8, -0.8, 1.6, 1.6))
    else:
        painter.setPen(QPen(colour, 0.3, cap=Qt.PenCapStyle.FlatCap))
        painter.drawArc(QRectF(-0.95, -0.95, 1.6, 1.6), 45 * 16, 180 * 16)
        painter.drawArc(QRectF(-0.65, -0.65, 1.6, 1.6), 225 * 16, 180 * 16)
        painter.drawLine(QPointF(-0.75, 0.75), QPointF(0.75, -0.75))
