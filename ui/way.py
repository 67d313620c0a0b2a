"""The way through the job: its steps, and why one cannot be gone to yet."""

from __future__ import annotations

from dataclasses import dataclass

from PyQt6.QtCore import QRectF, QSize, Qt, pyqtSignal
from PyQt6.QtGui import QFontMetrics, QPainter, QPen
from PyQt6.QtWidgets import QAbstractButton, QVBoxLayout, QWidget

from ui.look.colours import Colours
from ui.look.signs import STEP_DONE, STEP_NOW, STEP_OPEN, STEP_SHUT, step_sign
from ui.words import tr


@dataclass(frozen=True)
class Standing:
    """Of one step. why: what is missing, if it is shut; note: what was settled, if it is done."""

    done: bool = False
    why: str = ""
    note: str = ""


class WayRail(QWidget):
    """The steps one below the other; the one at hand is marked. gone_to(name) on a click or key."""

    gone_to = pyqtSignal(str)

    def __init__(self, steps: list[tuple[str, str]], colours: Colours, parent=None) -> None:
        """steps: (name, words for a person)"""
        super().__init__(parent)
        self.setObjectName("rail")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(8, 10, 8, 10)
        layout.setSpacing(6)
        self.buttons: dict[str, _Step] = {}
        for place, (name, words) in enumerate(steps, start=1):
            button = _Step(place, words, colours)
            button.clicked.connect(lambda _=False, n=name: self.gone_to.emit(n))
            self.buttons[name] = button
            layout.addWidget(button)
        layout.addStretch(1)

    def show_standing(self, at: str, standing: dict[str, Standing]) -> None:
        for name, button in self.buttons.items():
            button.show_standing(standing[name], now=name == at)


class _Step(QAbstractButton):
    def __init__(self, place: int, words: str, colours: Colours) -> None:
        super().__init__()
        self.place, self.words, self.colours = place, words, colours
        self.standing, self.now = Standing(), False
        self.setText(words)
        self.setShortcut(f"Alt+{place}")
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)

    def show_standing(self, standing: Standing, *, now: bool) -> None:
        self.standing, self.now = standing, now
        self.setEnabled(now or not standing.why)
        told = standing.why or standing.note
        self.setToolTip(f"{told}\nAlt+{self.place}" if told else f"Alt+{self.place}")
        self.setAccessibleDescription(told)
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802
        font = self.font()
        font.setBold(True)  # as the step at hand is written
        metrics = QFontMetrics(font)
        line = metrics.height()
        wide = round(14 + 1.5 * line + metrics.horizontalAdvance(self.words) + 10)
        return QSize(max(wide, metrics.horizontalAdvance("m" * 12)), int(line * 3.4))

    def paintEvent(self, event) -> None:  # noqa: N802, ARG002
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        c = self.colours
        if self.now:
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(c.colour("ground"))
            painter.drawRoundedRect(QRectF(self.rect()), 6, 6)
            painter.fillRect(QRectF(0, 6, 5, self.height() - 12), c.colour("key"))
        if self.hasFocus():
            painter.setPen(QPen(c.colour("key"), 3))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRoundedRect(QRectF(self.rect()).adjusted(2, 2, -2, -2), 6, 6)
        line = self.fontMetrics().height()
        shut = bool(self.standing.why) and not self.now
        kind = STEP_NOW if self.now else STEP_SHUT if shut else STEP_OPEN
        kind = STEP_DONE if self.standing.done and not self.now else kind
        painter.save()
        painter.translate(14 + 0.55 * line, 8 + 0.5 * line)
        painter.scale(0.55 * line, 0.55 * line)
        role = {STEP_NOW: "key", STEP_DONE: "good"}.get(kind, "quiet")
        step_sign(painter, kind, c.colour(role), c.colour("ground" if self.now else "raised"))
        painter.restore()
        left = 14 + 1.5 * line
        painter.setPen(c.colour("quiet" if shut else "ink"))
        font = self.font()
        font.setBold(self.now)
        painter.setFont(font)
        room = self.width() - left - 6
        painter.drawText(QRectF(left, 6, room, line * 1.2), 0, self.words)
        small = self.font()
        small.setPointSizeF(small.pointSizeF() * 0.78)
        painter.setFont(small)
        painter.setPen(c.colour("quiet"))
        told = self.standing.why or self.standing.note
        flags = int(Qt.TextFlag.TextWordWrap)
        box = QRectF(left, 6 + 1.15 * line, room, self.height() - 1.3 * line)
        painter.drawText(box, flags, told)


STEPS = [
    ("design", tr("Board files")),
    ("bench", tr("Camera and bench")),
    ("finding", tr("Find the board")),
    ("drilling", tr("Drill")),
    ("after", tr("Check and file")),
]
