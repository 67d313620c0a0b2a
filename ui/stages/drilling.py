"""Drilling: which way to push, how far still, am I there, now."""

from __future__ import annotations

import numpy as np
from PyQt6.QtCore import Qt
from PyQt6.QtGui import QKeyEvent
from PyQt6.QtWidgets import (
    QBoxLayout,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QProgressBar,
    QPushButton,
    QVBoxLayout,
)

from drillaid.guidance import guidance as g
from drillaid.guidance.events import BitFitted, Confirm, GoTo, Pause, Pedal, Resume, Skip, Undo
from drillaid.guidance.guidance import Guidance
from drillaid.guidance.scene import states_of
from ui.job import MM_ACROSS, JobState
from ui.look.colours import Colours
from ui.picture.bit_card import BitCard
from ui.picture.board_map import BoardMap
from ui.picture.board_picture import board_picture
from ui.picture.figures import FigurePanel
from ui.running import practice
from ui.running.guiding import Sight
from ui.stages.guided import GuidedStage
from ui.way import Standing
from ui.words import bit, duration, tr

ZOOMS = (0.5, 0.7, 1.0, 1.5, 2.2)


class DrillingStage(GuidedStage):
    """The picture about the spindle, the figures, the board's map, and the buttons."""

    name = "drilling"

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__(job, colours)
        self._zoom = 2
        self.figures = FigurePanel(colours)
        self.map = BoardMap(colours)
        self.map.chosen.connect(lambda hole: self._act(GoTo(hole)))
        self.card = BitCard(colours, self)
        self.card.fitted.connect(self._bit_fitted)
        self.hole_line = QLabel()
        self.hole_line.setObjectName("figure")
        self.hole_line.setWordWrap(True)
        self.sentence = QLabel()
        self.sentence.setWordWrap(True)
        self.sentence.setMinimumHeight(48)
        self.counts = QLabel()
        self.counts.setObjectName("quiet")
        self.progress = QProgressBar()
        self.progress.setTextVisible(False)
        self._buttons()
        self._lay_out()

    def _buttons(self) -> None:
        def button(text: str, tip: str, slot, name: str = "") -> QPushButton:
            made = QPushButton(text)
            made.setToolTip(tip)
            made.setObjectName(name)
            made.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            made.clicked.connect(slot)
            return made

        self.confirm = button(tr("Drilled  (space)"), tr("Counts the hole: space, or the pedal"),
                              lambda: self._act(Confirm()), "go")  # fmt: skip
        self.undo = button(tr("Take back  (Z)"), "", lambda: self._act(Undo()))
        self.skip = button(tr("Put aside  (S)"), "", lambda: self._act(Skip()))
        self.pause = button(tr("Pause  (P)"), "", self._pause_or_resume)
        self.force = button(tr("Count it anyway"), tr("Although its place is not vouched for"),
                            lambda: self._act(Confirm(forced=True)))  # fmt: skip
        self.lever = button(tr("Pull the lever  (L)"), tr("The simulated bench's drill"),
                            self._pull_lever)  # fmt: skip

    def _lay_out(self) -> None:
        panel = QFrame()
        panel.setObjectName("panel")
        side = QVBoxLayout(panel)
        side.addWidget(self.figures, 3)
        side.addWidget(self.hole_line)
        side.addWidget(self.sentence)
        side.addWidget(self.progress)
        side.addWidget(self.counts)
        side.addWidget(self.map, 4)
        grid = QGridLayout()
        grid.addWidget(self.confirm, 0, 0, 1, 2)
        grid.addWidget(self.undo, 1, 0)
        grid.addWidget(self.skip, 1, 1)
        grid.addWidget(self.pause, 2, 0)
        grid.addWidget(self.force, 2, 1)
        grid.addWidget(self.lever, 3, 0, 1, 2)
        side.addLayout(grid)
        panel.setMinimumWidth(330)
        panel.setMaximumWidth(560)
        self._row = QHBoxLayout(self)
        self._row.setContentsMargins(0, 0, 0, 0)
        self._row.addWidget(self.picture, 5)
        self._row.addWidget(panel, 2)
        self.set_hand(self.job.settings.left_handed)

    def set_hand(self, left: bool) -> None:
        """The figures stand on the side of the hand that is free."""
        way = QBoxLayout.Direction.RightToLeft if left else QBoxLayout.Direction.LeftToRight
        self._row.setDirection(way)

    @staticmethod
    def standing(job: JobState) -> Standing:
        if job.job is None:
            return Standing(why=tr("The board's files come first"))
        if job.bench is None or not job.bench.complete:
            return Standing(why=tr("Camera and bench come first"))
        if not job.found and job.board is None:
            return Standing(why=tr("The board must be found first"))
        return Standing(done=job.finished, note=tr("all holes") if job.finished else "")

    # -- life --------------------------------------------------------------------------

    def enter(self) -> None:
        made = board_picture(self.job.job)
        self.map.show_board(*made, self.job.job.design.xy_mm)
        self.lever.setVisible(self.job.bench is not None and self.job.bench.source == "sim")
        super().enter()
        self.setFocus()

    def prepare(self, live) -> None:
        live.keep_with(self.job.begin_board(self.told.emit))

    def leave(self) -> None:
        self.card.hide()
        super().leave()

    def view_of(self, size, frame, registration):
        across = MM_ACROSS * ZOOMS[self._zoom]
        return self.job.near_view(size, frame, registration, across)

    # -- what is shown -----------------------------------------------------------------

    def show_sight(self, sight: Sight, guidances: list[Guidance]) -> None:
        guidance = sight.guidance
        over = ""
        if sight.trouble is not None:
            over = sight.trouble
        elif guidance.state == g.LOST:
            over = guidance.message
        on = guidance.state in (g.ON_TARGET, g.HOLD)
        self.picture.show_sight(sight.image, sight.scene, within=on, over=over)
        self.figures.show_guidance(guidance, sight.scene)
        self._words(guidance)
        number = guidance.hole
        progress = self.job.session.progress
        self.map.show_states(states_of(progress, len(self.job.job.design.holes), number))
        self._offer(guidance)
        for each in guidances:
            self._happened(each)

    def _words(self, guidance: Guidance) -> None:
        target, tally = guidance.target, guidance.progress
        if target is None:
            self.hole_line.setText(tr("No hole left"))
        else:
            text = tr("Hole {n}   {bit}", n=target.hole, bit=bit(target.bit_mm))
            part = self._part_of(target.hole)
            self.hole_line.setText(f"{text}\n{part}" if part else text)
        self.sentence.setText(guidance.refusal or guidance.message)
        self.progress.setMaximum(max(1, tally.holes))
        self.progress.setValue(tally.done)
        told = tr("{done} of {all} done", done=tally.done, all=tally.holes)
        if tally.skipped:
            told += ", " + tr("{n} put aside", n=tally.skipped)
        if guidance.time_left_s is not None:
            told += ", " + tr("about {time} left", time=duration(guidance.time_left_s))
        self.counts.setText(told)

    def _part_of(self, hole: int) -> str:
        for part in self.job.job.parts:
            if hole in part.holes:
                place = part.holes.index(hole) + 1
                return tr("{part}, pin {n} of {all}", part=part.name, n=place,
                          all=len(part.holes))  # fmt: skip
        return ""

    def _offer(self, guidance: Guidance) -> None:
        """Which buttons count now."""
        self.confirm.setEnabled(guidance.can_confirm)
        unsure = guidance.state in (g.UNSURE, g.MOVE, g.HOLD) and not guidance.can_confirm
        self.force.setEnabled(unsure and guidance.aim is not None)
        paused = guidance.state == g.PAUSED
        self.pause.setText(tr("Go on  (P)") if paused else tr("Pause  (P)"))
        self.skip.setEnabled(guidance.target is not None)
        change = guidance.bit_change
        if change is not None and guidance.state == g.CHANGE_BIT:
            self.card.offer(change, guidance)
        elif self.card.isVisible():
            self.card.hide()
            self.setFocus()

    def _happened(self, guidance: Guidance) -> None:
        for event in guidance.events:
            if event.event == "finished":
                self.job.set(finished=True)
                self.told.emit(tr("All holes are drilled: check the board."))

    # -- the hand ------------------------------------------------------------------------

    def _act(self, action) -> None:
        if self.thread is not None:
            self.thread.act(action)

    def _bit_fitted(self, bit_mm: float) -> None:
        self._act(BitFitted(bit_mm))

    def _pause_or_resume(self) -> None:
        paused = self.sight is not None and self.sight.guidance.state == g.PAUSED
        self._act(Resume() if paused else Pause())

    def _pull_lever(self) -> None:
        if self.practising and self.sight is not None:
            mm = self.sight.guidance.bit_mm
            if mm is None:
                self.told.emit(tr("There is no bit in the chuck."))
                return
            practice.pull_lever(self.job.practice, mm)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        key = event.key()
        if event.isAutoRepeat() and key == Qt.Key.Key_Space:
            return
        pedal = self.job.settings.pedal_key
        if key == Qt.Key.Key_Space or (pedal and key == pedal):
            self._act(Pedal())
        elif key == Qt.Key.Key_Z:
            self._act(Undo())
        elif key == Qt.Key.Key_S:
            self._act(Skip())
        elif key == Qt.Key.Key_P:
            self._pause_or_resume()
        elif key == Qt.Key.Key_L:
            self._pull_lever()
        elif key in (Qt.Key.Key_Plus, Qt.Key.Key_Minus):
            step = -1 if key == Qt.Key.Key_Plus else 1
            self._zoom = int(np.clip(self._zoom + step, 0, len(ZOOMS) - 1))
        elif self.practising and key in _PUSHES:
            dx, dy = _PUSHES[Qt.Key(key)]
            fine = 0.05 if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else 0.5
            self.job.practice.move(dx * fine, dy * fine)
        else:
            super().keyPressEvent(event)

    def resizeEvent(self, event) -> None:  # noqa: N802
        super().resizeEvent(event)
        self.card.settle()

    def next_word(self) -> str:
        return "" if self.sight is None else self.sight.guidance.message


_PUSHES = {
    Qt.Key.Key_Left: (-1, 0),
    Qt.Key.Key_Right: (1, 0),
    Qt.Key.Key_Up: (0, 1),
    Qt.Key.Key_Down: (0, -1),
}
