"""One part of a rig as a row that can be pressed: sign, name, standing, figure."""

from __future__ import annotations

from PyQt6.QtCore import QRectF, QSize, Qt
from PyQt6.QtGui import QPainter, QPen
from PyQt6.QtWidgets import QAbstractButton, QSizePolicy

from calibration.rig_standing import DONE, MISSING, STALE, Part
from ui.look.colours import Colours
from ui.look.signs import part_sign
from ui.words import number, tr

_SMALL = 0.82
_ROLE = {DONE: "good", MISSING: "quiet", STALE: "bad"}


def part_word(state: str) -> str:
    """The standing in the person's language."""
    return {DONE: tr("done"), MISSING: tr("missing"), STALE: tr("out of date")}[state]


def part_name(name: str) -> str:
    """Of a section of the rig file."""
    return {
        "camera": tr("Lens"),
        "bench": tr("Bench plane"),
        "spindle": tr("Spindle axis"),
        "marks": tr("Reference marks"),
    }[name]


def figure_of(part: Part) -> str:
    """What the file says of its quality, short; "" where it says nothing."""
    said, out = part.figures, []
    if "held_out_rms_px" in said or "rms_px" in said:
        out.append(tr("{n} px", n=number(said.get("held_out_rms_px", said.get("rms_px")), 2)))
    if "sigma_mm" in said:
        out.append(tr("± {n} mm", n=number(said["sigma_mm"], 3)))
    if "holes" in said:
        out.append(tr("{n} holes", n=int(said["holes"])))
    if "views" in said:
        out.append(tr("{n} views", n=int(said["views"])))
    if "count" in said:
        out.append(tr("{n} marks", n=int(said["count"])))
    if "width" in said and "height" in said:
        out.append(f"{int(said['width'])} × {int(said['height'])}")
    return ", ".join(out)


class PartRow(QAbstractButton):
    """Pressed: the page that makes this part."""

    def __init__(self, colours: Colours, name: str) -> None:
        super().__init__()
        self.colours = colours
        self.part = Part(name, MISSING)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def show_part(self, part: Part) -> None:
        self.part = part
        told = f"{part_name(part.name)}: {part_word(part.state)}"
        self.setText(told)
        more = "; ".join(words for words in (figure_of(part), part.why) if words)
        self.setAccessibleDescription(more)
        self.setToolTip(f"{told}\n{more}" if more else told)
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802
        line = self.fontMetrics().height()
        return QSize(18 * line, round(2.75 * line))

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        line = self.fontMetrics().height()
        return QSize(12 * line, round(2.75 * line))

    def paintEvent(self, event) -> None:  # noqa: N802, ARG002
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        c, part = self.colours, self.part
        frame = QRectF(self.rect()).adjusted(1.5, 1.5, -1.5, -1.5)
        painter.setBrush(c.colour("ground"))
        painter.setPen(QPen(c.colour("key"), 3) if self.hasFocus() else QPen(c.colour("line"), 2))
        painter.drawRoundedRect(frame, 6, 6)
        line = self.fontMetrics().height()
        painter.save()
        painter.translate(0.95 * line, self.height() / 2)
        painter.scale(0.5 * line, 0.5 * line)
        part_sign(painter, part.state, c.colour(_ROLE[part.state]))
        painter.restore()
        left = 1.9 * line
        room = QRectF(left, 0.2 * line, self.width() - left - 0.6 * line, 1.2 * line)
        bold = self.font()
        bold.setBold(True)
        painter.setFont(bold)
        painter.setPen(c.colour("ink"))
        painter.drawText(room, Qt.AlignmentFlag.AlignLeft, part_name(part.name))
        painter.setFont(self.font())
        painter.drawText(room, Qt.AlignmentFlag.AlignRight, part_word(part.state))
        small = self.font()
        small.setPointSizeF(small.pointSizeF() * _SMALL)
        painter.setFont(small)
        painter.setPen(c.colour("quiet"))
        below = QRectF(left, 1.4 * line, room.width(), 1.2 * line)
        figure = figure_of(part)
        words = part.why if part.state != DONE or not figure else figure
        if part.state == DONE and figure and part.why:
            words = f"{figure} · {part.why}"
        words = painter.fontMetrics().elidedText(
            words, Qt.TextElideMode.ElideRight, int(below.width())
        )
        painter.drawText(below, Qt.AlignmentFlag.AlignLeft, words)
