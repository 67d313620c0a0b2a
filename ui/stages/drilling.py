"""Drilling: which way to push, how far still, am I there, now."""

from __future__ import annotations

import numpy as np
from PyQt6.QtCore import Qt
from PyQt6.QtGui import QKeyEvent
from PyQt6.QtWidgets import QHBoxLayout, QVBoxLayout

from drillaid.errors import DrillaidError
from drillaid.guidance import guidance as g
from drillaid.guidance.beat import FOUND
from drillaid.guidance.events import (
    AsSeen,
    BitFitted,
    Confirm,
    GoTo,
    Pause,
    Pedal,
    Resume,
    Revisit,
    Skip,
    Undo,
)
from drillaid.guidance.guidance import Guidance
from drillaid.guidance.view import FAR_MM, closing_in_mm
from ui.calibrating.plain import plain
from ui.job import PRACTICE, JobState
from ui.look.colours import Colours
from ui.picture.aids_card import AidsCard
from ui.picture.bit_card import BitCard
from ui.picture.card import Card
from ui.picture.drill_panel import DrillPanel
from ui.picture.key_button import KeyButton
from ui.picture.stage_cards import CautionsCard, FinishedCard, RecordCard, UnfinishedCard
from ui.running import practice
from ui.running.guiding import Sight
from ui.sound import Sound
from ui.stages.guided import GuidedStage
from ui.way import Standing
from ui.words import tr

ZOOMS = (0.5, 0.7, 1.0, 1.5, 2.2)


class DrillingStage(GuidedStage):
    """The picture about the spindle with its keys below, and the panel of figures and map."""

    name = "drilling"

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__(job, colours)
        self._zoom, self._across = 2, FAR_MM
        self._asked_after_end = False
        self.panel = DrillPanel(colours)
        self.figures, self.map = self.panel.figures, self.panel.map
        self.map.chosen.connect(lambda hole: self._act(GoTo(hole)))
        self.panel.turn.setChecked(job.settings.turn_map)
        self.panel.turned.connect(lambda on: self.job.remember(turn_map=on))
        self.panel.sound.setChecked(job.settings.beat)
        self.panel.sounding.connect(lambda on: self.job.remember(beat=on))
        self._buttons()
        self._lay_out()
        self.card = BitCard(colours, self)
        self.card.fitted.connect(self._bit_fitted)
        self.card.take_back.connect(lambda: self._act(Undo()))
        self.card.revisit.connect(lambda hole: self._act(GoTo(hole)))
        self._more_cards()
        self.sound = Sound(parent=self)
        self._tell_sound()
        job.remembered.connect(self._tell_sound)

    def _more_cards(self) -> None:
        self.cautions = CautionsCard(self.colours, self)
        self.cautions.agreed.connect(self._cautions_read)
        self.unfinished = UnfinishedCard(self.colours, self)
        self.unfinished.go_on.connect(self._go_on_with)
        self.unfinished.begin_new.connect(self.begin)
        self.end = FinishedCard(self.colours, self)
        self.end.check.connect(lambda: self.wants.emit("after"))
        self.end.revisit.connect(lambda: self._act(Revisit()))
        self.differs = RecordCard(self.colours, self)
        self.differs.keep.connect(lambda: self._act(Resume()))
        self.differs.as_seen.connect(self._put_right)
        self.differs.another.connect(self._another_board)
        self.aids = AidsCard(self.job, self.colours, self)
        self.aids.try_sound.connect(lambda: self.sound.mixer.cue(FOUND))
        self.aids.shut.connect(self.setFocus)
        self.panel.aids.clicked.connect(self.aids.offer)

    @property
    def cards(self) -> tuple[Card, ...]:
        """That one asks which is most pressing."""
        return self.cautions, self.unfinished, self.differs, self.aids, self.card, self.end

    def _buttons(self) -> None:
        def button(text: str, key: str, tip: str, slot, *, go: bool = False) -> KeyButton:
            made = KeyButton(self.colours, text, key, go=go)
            made.setToolTip(tip)
            made.clicked.connect(slot)
            return made

        self.confirm = button(tr("Drilled"), tr("space"), tr("Counts the hole, as the pedal does"),
                              lambda: self._drilled(), go=True)  # fmt: skip
        self.undo = button(tr("Take back"), "Z", tr("The last hole done or put aside"),
                           lambda: self._act(Undo()))  # fmt: skip
        self.skip = button(tr("Put aside"), "S", tr("Another hole first; this one later"),
                           lambda: self._act(Skip()))  # fmt: skip
        self.pause = button(tr("Pause"), "P", tr("Nothing counts until you go on"),
                            self._pause_or_resume)  # fmt: skip
        self.force = button(tr("Count anyway"), "A", tr("Although its place is not vouched for"),
                            lambda: self._drilled(forced=True))  # fmt: skip
        self.repair = button(tr("Repair the rig"), "R", tr("One picture of the marks; the board "
                             "and what was drilled are kept"), self._repair, go=True)  # fmt: skip
        self.repair.hide()
        self.lever = button(tr("Pull lever"), "L", tr("The simulated bench's drill"),
                            self._pull_lever)  # fmt: skip

    def _lay_out(self) -> None:
        keys = QHBoxLayout()
        for button, share in ((self.confirm, 5), (self.undo, 4), (self.skip, 4), (self.pause, 3),
                              (self.force, 4), (self.lever, 4), (self.repair, 5)):  # fmt: skip
            keys.addWidget(button, share)
        left = QVBoxLayout()
        left.addWidget(self.picture, 1)
        left.addLayout(keys)
        self.lay_out(left, self.panel, (5, 2))

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
        self.panel.show_job(self.job.job)
        self.lever.setVisible(self.job.bench is not None and self.job.bench.source == PRACTICE)
        self._asked_after_end = False
        self.entered = True
        self.setFocus()
        self._ask()

    def _ask(self) -> None:
        """What must be known first; then the camera is opened."""
        board = None if not self.job.cautions_read else self._unfinished_board()
        if not self.job.cautions_read:
            self.cautions.open()
        elif board is not None:
            self.unfinished.offer(board)
        else:
            self.begin()

    def begin(self) -> None:
        super().begin()
        self.sound.start()

    def _cautions_read(self) -> None:
        self.job.cautions_read = True
        self._ask()

    def _unfinished_board(self):
        if self.job.board is not None or self.job.boards_before:
            return None
        try:
            return self.job.unfinished()
        except DrillaidError as error:
            self.told.emit(str(error))
            return None

    def _go_on_with(self, board: int) -> None:
        self.job.set(board=board, recheck=True)
        self.job.forget_practice()
        self.begin()

    def prepare(self, live) -> None:
        live.keep_with(self.job.begin_board(self.told.emit))
        live.hold_against(self.job.rechecking())

    def leave(self) -> None:
        for card in self.cards:
            card.close_card()
        self.sound.stop()
        super().leave()

    def view_of(self, size, frame, registration):
        sight = self.sight
        wanted = closing_in_mm(None if sight is None else sight.guidance.distance_mm)
        self._across += 0.25 * (wanted - self._across)  # no jump from picture to picture
        across = self._across * ZOOMS[self._zoom]
        return self.job.near_view(size, frame, registration, across)

    # -- what is shown -----------------------------------------------------------------

    def show_sight(self, sight: Sight, guidances: list[Guidance]) -> None:
        guidance = sight.guidance
        over = ""
        if sight.trouble is not None:
            over = sight.trouble
        elif guidance.state in (g.LOST, g.UNTRUE):
            over = plain(guidance.message)
        on = guidance.state in (g.ON_TARGET, g.HOLD)
        self.picture.show_sight(
            sight.image, sight.scene, within=on, over=over, notice=sight.slow or ""
        )
        self.panel.show_moment(guidance, sight.scene, self.job.session.progress)
        self.panel.show_limit(sight.limit)
        self._offer(guidance)
        self.sound.hear(guidances)
        for each in guidances:
            self._happened(each)

    def _offer(self, guidance: Guidance) -> None:
        """Which buttons count now."""
        self.confirm.setEnabled(guidance.can_confirm)
        self.repair.setVisible(guidance.state == g.UNTRUE)
        unsure = guidance.state in (g.UNSURE, g.MOVE, g.HOLD) and not guidance.can_confirm
        self.force.setEnabled(unsure and guidance.aim is not None)
        paused = guidance.state == g.PAUSED
        self.pause.setText(tr("Go on") if paused else tr("Pause"))
        self.skip.setEnabled(guidance.target is not None)
        change = guidance.bit_change
        if change is not None and guidance.state == g.CHANGE_BIT:
            self.card.offer(change, guidance)
        elif self.card.isVisible():
            self.card.close_card()
            self.setFocus()
        self._offer_to_decide(guidance)
        finished = guidance.state == g.FINISHED
        if finished != self.job.finished:
            self.job.set(finished=finished)
        if finished and not self._asked_after_end:
            self.end.offer(guidance)
        elif not finished and self.end.isVisible():
            self.end.close_card()
            self.setFocus()
        self._asked_after_end = finished

    def _offer_to_decide(self, guidance: Guidance) -> None:
        if guidance.differs is not None:
            self.differs.offer(guidance.differs)
        elif self.differs.isVisible():
            self.differs.close_card()
            self.setFocus()

    def _put_right(self) -> None:
        differs = None if self.sight is None else self.sight.guidance.differs
        if differs is not None:
            self._act(AsSeen(differs.extra, differs.missing))

    def _another_board(self) -> None:
        """The record of the other one stays as it is."""
        self.job.next_board()
        self.wants.emit("finding")

    def _happened(self, guidance: Guidance) -> None:
        for event in guidance.events:
            if event.event == "finished":
                self.told.emit(tr("All holes are drilled: check the board."))
            elif event.event in ("hole_done", "stop_done") and event.detail.get("by") == "seen":
                self.told.emit(tr("Hole {n} was seen and counts; Z takes it back.", n=event.hole))
            elif event.event == "record_checked":
                self.job.recheck = False  # once is enough
                self.told.emit(event.detail["message"])

    def _tell_sound(self, _settings=None) -> None:
        settings = self.job.settings
        self.sound.beating, self.sound.mixer.volume = settings.beat, settings.volume
        self.panel.sound.setChecked(settings.beat)

    def show_failure(self, sentence: str) -> None:
        super().show_failure(sentence)
        self.sound.stop()

    # -- the hand ------------------------------------------------------------------------

    def _act(self, action) -> None:
        if self.thread is not None:
            self.thread.act(action)

    def _drilled(self, *, forced: bool = False) -> None:
        """The hole that is shown, and no other that may have come since."""
        if self.sight is not None:
            self._act(Confirm(forced, self.sight.guidance.hole))

    def _bit_fitted(self, bit_mm: float) -> None:
        self._act(BitFitted(bit_mm))

    def _pause_or_resume(self) -> None:
        paused = self.sight is not None and self.sight.guidance.state == g.PAUSED
        self._act(Resume() if paused else Pause())

    def _repair(self) -> None:
        self.job.repair_wanted = True
        self.wants.emit("bench")

    def _pull_lever(self) -> None:
        if self.practising and self.sight is not None:
            mm, bench = self.sight.guidance.bit_mm, self.job.practice
            if mm is None:
                self.told.emit(tr("There is no bit in the chuck."))
                return
            self.job.errands.put(lambda: practice.pull_lever(bench, mm))

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        key = event.key()
        pedal = key == Qt.Key.Key_Space or key == self.job.settings.pedal_key != 0
        if pedal and event.isAutoRepeat():
            return
        asking = next((card for card in self.cards if card.isVisible()), None)
        if pedal and asking is not None:
            asking.press()
        elif key == Qt.Key.Key_Z:
            self._act(Undo())
        elif asking is not None:
            super().keyPressEvent(event)
        elif pedal:
            self._act(Pedal())
        elif key == Qt.Key.Key_S:
            self._act(Skip())
        elif key == Qt.Key.Key_P:
            self._pause_or_resume()
        elif key == Qt.Key.Key_A and self.force.isEnabled():
            self._drilled(forced=True)
        elif key == Qt.Key.Key_T:
            self.panel.turn.toggle()
        elif key == Qt.Key.Key_M:
            self.panel.sound.toggle()
        elif key == Qt.Key.Key_R and self.repair.isVisible():
            self._repair()
        elif key == Qt.Key.Key_K:
            self.aids.offer()
        elif key == Qt.Key.Key_L:
            self._pull_lever()
        elif key in (Qt.Key.Key_Plus, Qt.Key.Key_Minus):
            step = -1 if key == Qt.Key.Key_Plus else 1
            self._zoom = int(np.clip(self._zoom + step, 0, len(ZOOMS) - 1))
        elif self.practising and key in _PUSHES:
            dx, dy = _PUSHES[Qt.Key(key)]
            fine = 0.05 if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else 0.5
            bench = self.job.practice
            self.job.errands.put(lambda: bench.move(dx * fine, dy * fine))
        else:
            super().keyPressEvent(event)

    def resizeEvent(self, event) -> None:  # noqa: N802
        super().resizeEvent(event)
        for card in self.cards:
            if card.isVisible():
                card.settle()

    def shut_down(self) -> None:
        super().shut_down()
        self.sound.close()

    def next_word(self) -> str:
        return "" if self.sight is None else self.sight.guidance.message


_PUSHES = {
    Qt.Key.Key_Left: (-1, 0),
    Qt.Key.Key_Right: (1, 0),
    Qt.Key.Key_Up: (0, 1),
    Qt.Key.Key_Down: (0, -1),
}
