"""The lens, live: which views are taken, which are missing, and what came of them."""

from __future__ import annotations

import datetime

from PyQt6.QtCore import QPointF, QRectF, QSize, Qt
from PyQt6.QtGui import QPainter, QPen
from PyQt6.QtWidgets import QFileDialog, QSizePolicy, QWidget

from calibration.lens import ENOUGH, MIN_USABLE, LensResult, calibrate_lens
from calibration.live_lens import SIDES, LensSession, LensState
from calibration.photographs import listed_photographs, look_at
from drillaid.commands.calibrate.lens import locked_of, section_of
from ui.calibrating.page import Figure, Page, button, label
from ui.look.colours import Colours
from ui.picture.live_picture import Overlay
from ui.running.looking import Look
from ui.running.workshop import SHEET_HELD
from ui.words import number, tr


class LensPage(Page):
    """The engine chooses the views by itself; the hand only moves the sheet."""

    name = "lens"
    title = tr("The lens")
    scene = SHEET_HELD

    def build(self) -> None:
        self.sheet = label("", "quiet")
        self.count = Figure()
        self.advice = label("", "title")
        self.message = label()
        self.tilts = TiltSign(self.rig.colours)
        self.anew = button(tr("Begin anew"), self.begin)
        self.photos = button(tr("From photographs …"), self._photographs)
        self.solve = button(tr("Work it out"), self.work_out)
        self.write = button(tr("Write to the rig file"), self._write, go=True)
        self.add(self.advice, self.message, self.count, self.tilts, self.words, self.sheet)
        self.keys(self.anew, self.photos)
        self.keys(self.back_key(), self.solve)
        self.keys(self.write)
        self.session: LensSession | None = None
        self.result: LensResult | None = None
        self._locked: dict = {}

    # -- life -----------------------------------------------------------------------------

    def enter(self) -> None:
        self.sheet.setText(self.rig.sheet_words())
        self.begin()

    def begin(self) -> None:
        self.forget()
        self.session = LensSession(self.rig.pattern(), ENOUGH)
        self.result = None
        self.say("")
        self._show(self.session.state)
        self.eye_changed.emit()
        self.settle()

    def leave(self) -> None:
        super().leave()
        self.session = None

    # -- what is seen ------------------------------------------------------------------------

    def eye(self):
        session = self.session
        if session is None or self.result is not None or self.running:
            return None
        return lambda frame: session.feed(frame.image)

    def show_look(self, look: Look) -> None:
        super().show_look(look)
        if look.settings:
            self._locked = locked_of(look.settings)
        state = look.judged
        if not isinstance(state, LensState) or self.session is None or self.running:
            return
        if self.result is None:
            self._show(state)
            if state.done:
                self.work_out()

    def overlay(self) -> Overlay:
        if self.session is None or self.result is not None:
            return Overlay()
        state = self.session.state
        return Overlay(grid=state.grid, points=state.points_px)

    def _show(self, state: LensState) -> None:
        self.count.setText(tr("{n} of {k} views", n=state.views, k=state.wanted))
        self.advice.setText(state.advice)
        self.message.setText(state.message)
        self.tilts.show_state(state)
        self.settle()

    # -- working it out -----------------------------------------------------------------------

    def work_out(self) -> None:
        """From the views taken so far."""
        session = self.session
        self.start(session.result, tr("Working out the lens …"))
        self.eye_changed.emit()

    def _photographs(self) -> None:
        paths, _ = QFileDialog.getOpenFileNames(self, tr("Photographs of the test board"))
        if paths:
            self.from_photographs(paths)

    def from_photographs(self, paths: list[str]) -> None:
        """The same from files."""
        pattern = self.rig.pattern()
        self._locked = {}

        def work() -> LensResult:
            return calibrate_lens(look_at(listed_photographs(paths), pattern), pattern)

        self.start(work, tr("Looking at the photographs …"))
        self.eye_changed.emit()

    def finished(self, result: LensResult) -> None:
        self.result = result
        lines = [result.message, *result.warnings]
        if result.calibrated:
            self.count.setText(tr("{n} px", n=number(result.fit.total_held_out_px, 3)))
            self.advice.setText(tr("The lens is known."))
            self.message.setText(tr("So far the views agree with a lens found without them."))
            if self.rig.draft is not None and self.rig.draft.has_bench:
                lines.append(tr("Once it is written, the bench plane and the spindle axis are out "
                                "of date: they were measured through the old lens."))  # fmt: skip
        else:
            self.advice.setText(tr("Not yet."))
        self.say("\n".join(lines))
        self.eye_changed.emit()

    def _write(self) -> None:
        if self.rig.draft is None:
            self.say(tr("There is no rig file to write to: choose one in the overview first."))
            return
        section = section_of(self.result, self._locked, datetime.date.today())
        self.rig.save(self.rig.draft.with_section("camera", section))

    def press(self) -> None:
        if self.write.isEnabled():
            self._write()

    def settle(self) -> None:
        views = 0 if self.session is None else self.session.state.views
        good = self.result is not None and self.result.calibrated
        self.solve.setEnabled(not self.running and self.result is None and views >= MIN_USABLE)
        self.write.setEnabled(good)


class TiltSign(QWidget):
    """The sheet as a frame: each edge that has been lifted is thick and ticked; beside it near
    and far. Words say the same."""

    def __init__(self, colours: Colours) -> None:
        super().__init__()
        self.colours = colours
        self._state: LensState | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def sizeHint(self) -> QSize:  # noqa: N802
        return QSize(240, round(self.fontMetrics().height() * 4.6))

    def show_state(self, state: LensState) -> None:
        self._state = state
        names = {"left": tr("left"), "right": tr("right"), "upper": tr("upper"),
                 "lower": tr("lower")}  # fmt: skip
        seen = [names[side] for side, on in zip(SIDES, state.tilts, strict=True) if on]
        told = tr("Edges lifted: {e}.", e=", ".join(seen) or tr("none"))
        told += " " + (
            tr("Near and far: done.") if state.near_far else tr("Near and far: missing.")
        )
        self.setAccessibleName(told)
        self.setToolTip(told)
        self.update()

    def paintEvent(self, event) -> None:  # noqa: N802, ARG002
        if self._state is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        line = self.fontMetrics().height()
        box = QRectF(1.4 * line, 0.9 * line, 3.6 * line, 2.6 * line)
        ends = {
            "left": (box.topLeft(), box.bottomLeft(), QPointF(-0.7, 0)),
            "right": (box.topRight(), box.bottomRight(), QPointF(0.7, 0)),
            "upper": (box.topLeft(), box.topRight(), QPointF(0, -0.5)),
            "lower": (box.bottomLeft(), box.bottomRight(), QPointF(0, 0.5)),
        }
        for side, on in zip(SIDES, self._state.tilts, strict=True):
            start, end, out = ends[side]
            self._edge(painter, start, end, on)
            self._tick(painter, (start + end) / 2 + out * line, on, line)
        left = box.right() + 1.8 * line
        painter.setPen(self.colours.colour("ink"))
        room = QRectF(left, box.top(), self.width() - left, 1.3 * line)
        painter.drawText(room, 0, tr("Edges of the sheet lifted"))
        at = QPointF(left + 0.4 * line, box.top() + 2.0 * line)
        self._tick(painter, at, self._state.near_far, line)
        painter.setPen(self.colours.colour("ink"))
        painter.drawText(QRectF(left + 1.2 * line, box.top() + 1.4 * line, self.width() - left,
                                1.3 * line), 0, tr("Near and far"))  # fmt: skip

    def _edge(self, painter: QPainter, start: QPointF, end: QPointF, on: bool) -> None:
        style = Qt.PenStyle.SolidLine if on else Qt.PenStyle.DotLine
        colour = self.colours.colour("good" if on else "quiet")
        painter.setPen(QPen(colour, 5 if on else 2.5, style))
        painter.drawLine(start, end)

    def _tick(self, painter: QPainter, at: QPointF, on: bool, line: float) -> None:
        size = 0.28 * line
        painter.setBrush(Qt.BrushStyle.NoBrush)
        if on:
            painter.setPen(QPen(self.colours.colour("good"), 3))
            painter.drawPolyline([at + QPointF(-size, 0), at + QPointF(-0.3 * size, 0.7 * size),
                                  at + QPointF(size, -0.8 * size)])  # fmt: skip
        else:
            painter.setPen(QPen(self.colours.colour("quiet"), 2))
            painter.drawEllipse(at, 0.7 * size, 0.7 * size)
