"""Finding the board: what was seen, how sure it is, and what it says about the print."""

from __future__ import annotations

import numpy as np
from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtWidgets import QFrame, QLabel, QPushButton, QVBoxLayout

from drillaid.guidance.guidance import Guidance
from drillaid.guidance.scene import LEFT, TARGET
from drillaid.registration import result as r
from drillaid.registration.result import Registration
from drillaid.registration.words import missing_words, print_scale_words
from ui.job import JobState
from ui.look.colours import Colours
from ui.picture.board_map import BoardMap
from ui.picture.board_picture import board_picture
from ui.running.background import Background
from ui.running.guiding import Sight
from ui.running.table_parts import may_use_table
from ui.stages.guided import GuidedStage
from ui.way import Standing
from ui.words import mm, tr, unbroken

POINTS = 2  # pads that a person points out settle any twin


def verdict_words(registration: Registration) -> str:
    """The verdict in two or three words; the sentence below says what to do."""
    return {
        r.DARK: tr("Too dark"),
        r.BURNT_OUT: tr("Too bright"),
        r.BLURRED: tr("Out of focus"),
        r.SHAKEN: tr("Shaken"),
        r.EMPTY: tr("No board to be seen"),
        r.BARE_SIDE: tr("The bare side is up"),
        r.OTHER_BOARD: tr("Is it another board?"),
        r.UNDER_WATER: tr("Wavy, as through water"),
        r.STRETCHED: tr("Out of size"),
        r.PART_HIDDEN: tr("Partly hidden"),
        r.TOO_LITTLE: tr("Too little in view"),
        r.NOT_SURE: tr("Not sure"),
    }.get(registration.reason) or {
        r.REGISTERED: tr("Found"),
        r.AMBIGUOUS: tr("It fits in more than one way"),
        r.MIRRORED: tr("The wrong way round"),
    }.get(registration.status, tr("Not found"))


def found_lines(registration: Registration) -> list[str]:
    """How much agrees, how well the place is known, and the print, a line each."""
    place = registration.placement
    lines = []
    if registration.pads_seen:
        share = registration.pads_agreeing / registration.pads_seen
        lines.append(tr("{n} of {all} places looked at agree ({share} %).",
                        n=registration.pads_agreeing, all=registration.pads_seen,
                        share=round(100 * share)))  # fmt: skip
    error = place.expected_error_mm
    lines.append(tr("Holes are known to {usual}, the worst one to {worst}.",
                    usual=mm(float(np.median(error)), 3), worst=mm(float(np.max(error)), 3)))  # fmt: skip
    if place.matrix is not None and place.on_bench:
        lines.append(tr("The {print}.", print=print_scale_words(place.matrix.scale)))
    else:
        lines.append(tr("Without a rig file the print is taken to have its true size."))
    return lines


def missing_lines(missing: tuple[int, ...]) -> list[str]:
    """The caution about these holes, which the map marks; none where there are none."""
    return [tr("▲ On the map: {words}.", words=missing_words(missing))] if missing else []


class FindingStage(GuidedStage):
    """The whole picture with the holes where they were found, and the verdict in words."""

    name = "finding"
    _settled = pyqtSignal(object)

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__(job, colours)
        self.picture.aiming = False
        self.picture.pressed.connect(self._pointed)
        self._settled.connect(self._show_settled)
        self._points: list[tuple[int, float, float]] = []
        self._settling = False
        self._was_found = False
        self._lines: list[str] = []
        self._missing: tuple[int, ...] = ()
        self.risks = Background(self)
        self.risks.done.connect(self._tell_risks)
        self.verdict = QLabel()
        self.verdict.setObjectName("title")
        self.words = QLabel()
        self.words.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.risk = QLabel()
        self.pointing = QLabel()
        for label in (self.verdict, self.words, self.risk, self.pointing):
            label.setWordWrap(True)
        self.map = BoardMap(colours)
        self.again = QPushButton(tr("Look again"))
        self.again.clicked.connect(self._look_again)
        self.go = QPushButton(tr("Drill this board"))
        self.go.setObjectName("go")
        self.go.clicked.connect(lambda: self.wants.emit("drilling"))
        self.by_table = QPushButton(tr("Drill by table"))
        self.by_table.clicked.connect(lambda: self.wants.emit("table"))
        self._lay_out()

    def _lay_out(self) -> None:
        panel = QFrame()
        panel.setObjectName("panel")
        side = QVBoxLayout(panel)
        for part in (self.verdict, self.words, self.risk, self.pointing):
            side.addWidget(part)
        side.addWidget(self.map, 1)
        side.addStretch(0)
        side.addWidget(self.again)
        side.addWidget(self.by_table)
        side.addWidget(self.go)
        panel.setMinimumWidth(320)
        panel.setMaximumWidth(520)
        self.lay_out(self.picture, panel, (5, 2))

    @staticmethod
    def standing(job: JobState) -> Standing:
        if job.job is None:
            return Standing(why=tr("The board's files come first"))
        if job.bench is None or not job.bench.complete:
            return Standing(why=tr("Camera and bench come first"))
        return Standing(done=job.found, note=tr("found") if job.found else "")

    # -- life ----------------------------------------------------------------------------

    def enter(self) -> None:
        self.map.show_board(*board_picture(self.job.job), self.job.job.design.xy_mm)
        self._forget_points()
        self._was_found = False
        self.verdict.setText(tr("Looking …"))
        self.words.setText(tr("Let the board lie still in full view, hands away."))
        self.risk.setText("")
        self.go.setEnabled(False)
        self.by_table.setEnabled(False)
        self.by_table.setVisible(may_use_table(self.job))
        self._show_pointing(False)
        super().enter()
        self.setFocus()

    def shut_down(self) -> None:
        super().shut_down()
        self.risks.close()

    def show_sight(self, sight: Sight, guidances: list[Guidance]) -> None:  # noqa: ARG002
        over = sight.trouble or ""
        self.picture.show_sight(sight.image, sight.scene, over=over, notice=sight.slow or "")
        registration = sight.registration
        if registration is None:
            return
        found = registration.ok and not sight.trouble
        if found != self.job.found:
            self.job.set(found=found)
        self.go.setEnabled(found)
        self.by_table.setEnabled(found)
        if found:
            self._tell_found(registration, sight)
        elif not self._settling:
            self._tell_refusal(registration)

    def _tell_found(self, registration: Registration, sight: Sight) -> None:
        if sight.scene is not None and sight.scene.turn_rad is not None:
            self.map.show_turn(sight.scene.turn_rad)
        # Following says little of its own: what was said when it was found stands, but for
        # lands that a hand lay over.
        if self._was_found:
            missing = registration.placement.holes_without_land
            if missing != self._missing:
                self._told_missing(missing)
            return
        self._was_found = True
        self._forget_points()
        self._show_pointing(False)
        self.verdict.setText(verdict_words(registration))
        self._lines = found_lines(registration)
        self.risk.setText("")
        self._told_missing(registration.placement.holes_without_land)
        self._ask_risks(registration)
        self.go.setFocus()

    def _told_missing(self, missing: tuple[int, ...]) -> None:
        self._missing = missing
        self.words.setText(unbroken("\n".join([*self._lines, *missing_lines(missing)])))
        states = [LEFT] * len(self.job.job.design.holes)
        for number in missing:
            states[number - 1] = TARGET
        self.map.show_states(tuple(states))

    def _tell_refusal(self, registration: Registration) -> None:
        self._was_found = False
        self.risk.setText("")
        ambiguous = registration.status == r.AMBIGUOUS
        self.verdict.setText(verdict_words(registration))
        self.words.setText(
            tr("For instance turned by half a turn, or moved by one pitch. Show more of the "
               "board, or say which way it is:")
            if ambiguous else registration.message
        )  # fmt: skip
        self._show_pointing(ambiguous)

    def _ask_risks(self, registration: Registration) -> None:
        """Which parts will hardly go in: of the print, long before a hole is drilled."""
        rig, design, place = self.job.bench.rig, self.job.job.design, registration.placement
        if rig is None or place.matrix is None:
            return

        def work() -> str | None:
            from drillaid.inspection.risk import (
                risk_before_drilling,
                risk_sentence,
                usual_scatter_mm,
            )

            scatter = usual_scatter_mm(rig)
            return risk_sentence(risk_before_drilling(design, place, scatter), scatter)

        self.risks.start(work)

    def _tell_risks(self, sentence: str | None) -> None:
        self.risk.setText(f"⚠ {sentence}" if sentence and self._was_found else "")

    # -- two pads pointed out -------------------------------------------------------------

    def _show_pointing(self, on: bool) -> None:
        if on != self.pointing.isVisibleTo(self):
            self.pointing.setVisible(on)
            self.picture.cross = None
            if not on:
                self.picture.marks = []
            else:
                self.setFocus()
        if on:
            self._ask()

    def _ask(self) -> None:
        number = self._asked()[min(len(self._points), POINTS - 1)]
        self.pointing.setText(
            tr("Click on the pad of hole {n} in the picture ({k} of 2). The map shows which one "
               "it is. With keys: arrows and enter.", n=number, k=len(self._points) + 1)
        )  # fmt: skip
        states = [LEFT] * len(self.job.job.design.holes)
        states[number - 1] = TARGET
        self.map.show_states(tuple(states))

    def _asked(self) -> tuple[int, int]:
        """The two holes furthest apart: their pads settle it best."""
        return self.job.job.far_pair

    def _forget_points(self) -> None:
        self._points, self._settling = [], False
        self.picture.marks, self.picture.cross = [], None

    def _pointed(self, x: float, y: float) -> None:
        pointing = self.pointing.isVisible() and not self._settling
        if not pointing or self.sight is None or self.sight.scene is None:
            return
        u, v = self.sight.scene.view.to_screen.inverse([(x, y)])[0]
        self._points.append((self._asked()[len(self._points)], float(u), float(v)))
        self.picture.marks = [*self.picture.marks, (x, y)]
        if len(self._points) == POINTS:
            self._settle(tuple(self._points))
        else:
            self._ask()

    def _settle(self, pads) -> None:
        self._settling = True
        self.verdict.setText(tr("Looking …"))

        def point_out(live) -> None:
            live.registration = live.finder.point_out(live.frame.image, pads)
            self._settled.emit(live.registration)

        if self.thread is not None:
            self.thread.call(point_out)

    def _show_settled(self, registration: Registration) -> None:
        self._forget_points()
        if not registration.ok:
            self.told.emit(tr("Those two pads do not settle it: point them out once more."))

    def _look_again(self) -> None:
        self._was_found = False
        if self.thread is not None:
            self.thread.call(lambda live: live.finder.forget())

    def keyPressEvent(self, event) -> None:  # noqa: N802
        steps = {
            Qt.Key.Key_Left: (-1, 0), Qt.Key.Key_Right: (1, 0),
            Qt.Key.Key_Up: (0, -1), Qt.Key.Key_Down: (0, 1),
        }  # fmt: skip
        key = Qt.Key(event.key())
        if not self.pointing.isVisible():
            super().keyPressEvent(event)
        elif key in steps:
            width, height = self.picture.size_px()
            x, y = self.picture.cross or (width / 2, height / 2)
            fine = 1 if event.modifiers() & Qt.KeyboardModifier.ShiftModifier else 10
            dx, dy = steps[key]
            self.picture.cross = (
                min(max(x + fine * dx, 0), width - 1), min(max(y + fine * dy, 0), height - 1)
            )  # fmt: skip
            self.picture.update()
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.picture.cross is not None:
            self._pointed(*self.picture.cross)
        else:
            super().keyPressEvent(event)

    def next_word(self) -> str:
        return self.words.text()
