"""Beside the picture while drilling: figures, the hole and its bit, what is left, the map."""

from __future__ import annotations

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtWidgets import QFrame, QHBoxLayout, QProgressBar, QVBoxLayout

from drillaid.guidance import guidance as g
from drillaid.guidance.guidance import Guidance
from drillaid.guidance.job import Job
from drillaid.guidance.scene import Scene, states_of
from ui.calibrating.plain import plain
from ui.look.colours import Colours
from ui.picture.board_map import BoardMap
from ui.picture.board_picture import board_picture
from ui.picture.figures import FigurePanel
from ui.picture.fitted import FittedLabel
from ui.picture.key_button import KeyButton
from ui.words import bit, duration, tr

NARROWEST, WIDEST = 320, 620


class DrillPanel(QFrame):
    """Shows one moment of guidance; nothing in it moves when words come and go.

    turned(on), sounding(on): the switches beneath the map
    """

    turned = pyqtSignal(bool)
    sounding = pyqtSignal(bool)

    def __init__(self, colours: Colours) -> None:
        super().__init__()
        self.setObjectName("panel")
        self.colours = colours
        self.job: Job | None = None
        self.figures = FigurePanel(colours)
        self.hole = FittedLabel(colours, 1.7, bold=True)
        self.bit = FittedLabel(colours, 1.7, bold=True, align=Qt.AlignmentFlag.AlignRight)
        self.part = FittedLabel(colours, 1.0)
        self.sentence = FittedLabel(colours, 1.0, lines=2)
        self.progress = QProgressBar()
        self.progress.setTextVisible(False)
        self.progress.setFixedHeight(14)
        self.counts = FittedLabel(colours, 1.0)
        self.limit = FittedLabel(colours, 0.85, role="quiet", lines=2)
        self.limit.hide()
        self.map = BoardMap(colours)
        self.map.setMinimumHeight(110)
        self.turn = KeyButton(colours, tr("Map as it lies"), "T")
        self.sound = KeyButton(colours, tr("Sound"), "M")
        self.aids = KeyButton(colours, tr("Pedal …"), "K")
        for switch, signal in ((self.turn, self.turned), (self.sound, self.sounding)):
            switch.setCheckable(True)
            switch.toggled.connect(signal)
        self._lay_out()

    def _lay_out(self) -> None:
        side = QVBoxLayout(self)
        side.setSpacing(5)
        side.setContentsMargins(10, 8, 10, 8)
        names = QHBoxLayout()
        names.addWidget(self.hole, 1)
        names.addWidget(self.bit, 1)
        switches = QHBoxLayout()
        switches.addWidget(self.turn, 3)
        switches.addWidget(self.sound, 2)
        switches.addWidget(self.aids, 2)
        side.addWidget(self.figures, 5)
        side.addLayout(names)
        for part in (self.part, self.sentence, self.progress, self.counts, self.limit):
            side.addWidget(part)
        side.addWidget(self.map, 6)
        side.addLayout(switches)
        self.setMinimumWidth(NARROWEST)
        self.setMaximumWidth(WIDEST)

    def show_job(self, job: Job) -> None:
        self.job = job
        self.map.show_board(*board_picture(job), job.design.xy_mm)

    def show_moment(self, guidance: Guidance, scene: Scene | None, progress) -> None:
        """progress: of the session, for the map"""
        self.figures.show_guidance(guidance, scene)
        self.map.show_states(states_of(progress, len(self.job.design.holes), guidance.hole))
        if not self.turn.isChecked():
            self.map.show_turn(0.0)
        elif scene is not None and scene.turn_rad is not None:
            self.map.show_turn(scene.turn_rad)
        self._words(guidance)

    def _words(self, guidance: Guidance) -> None:
        target, tally = guidance.target, guidance.progress
        self.hole.setText(tr("No hole left") if target is None
                          else tr("Hole {n}", n=target.hole))  # fmt: skip
        self.bit.setText("" if target is None else tr("bit {bit}", bit=bit(target.bit_mm)))
        self.part.setText("" if target is None else self.part_of(target))
        self.sentence.setText(guidance.refusal or told(guidance))
        self.progress.setMaximum(max(1, tally.holes))
        self.progress.setValue(tally.done)
        text = tr("{n} left of {all}", n=tally.left, all=tally.holes)
        if tally.skipped:
            text += ", " + tr("{n} put aside", n=tally.skipped)
        if guidance.time_left_s is not None:
            text += ", " + tr("about {time}", time=duration(guidance.time_left_s))
        self.counts.setText(text)

    def part_of(self, target) -> str:
        """Which pin of which part; of a slot, which of its places."""
        words = []
        for part in self.job.parts:
            if target.hole in part.holes:
                place = part.holes.index(target.hole) + 1
                words.append(tr("{part}, pin {n} of {all}", part=part.name, n=place,
                                all=len(part.holes)))  # fmt: skip
                break
        if target.parts > 1:
            words.append(tr("slot: place {n} of {all}", n=target.part, all=target.parts))
        return ", ".join(words)

    def show_limit(self, sentence: str) -> None:
        """What limits how well a hole is placed; "" for nothing known."""
        self.limit.setText(sentence)
        self.limit.setVisible(bool(sentence))


def told(guidance: Guidance) -> str:
    """The sentence beneath the figures: what these do not say already."""
    if guidance.state == g.MOVE and guidance.aim is not None:
        under = guidance.aim.under_hole
        if under is not None:
            return tr("Hole {n} is under the spindle: that is another one.", n=under)
        if guidance.can_confirm:
            return tr("Drilled? Space or the pedal counts it.")
        if guidance.aim.land_missing:
            return tr("▲ No land was seen at this hole: look before you drill.")
        return tr("Push the board the way the arrow points.")
    return plain(guidance.message)
