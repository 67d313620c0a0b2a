"""Finding the board: what was seen, how sure it is, and what it says about the print."""

from __future__ import annotations

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QFrame, QHBoxLayout, QLabel, QPushButton, QVBoxLayout

from drillaid.guidance.guidance import Guidance
from drillaid.registration.register import register_picture
from drillaid.registration.result import AMBIGUOUS, MIRRORED, REGISTERED
from ui.job import JobState
from ui.look.colours import Colours
from ui.running.guiding import Sight
from ui.stages.guided import GuidedStage
from ui.way import Standing
from ui.words import tr

POINTS = 2  # pads that a person points out settle any twin


class FindingStage(GuidedStage):
    """The whole picture with the holes where they were found, and the verdict in words."""

    name = "finding"

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__(job, colours)
        self.picture.aiming = False
        self.picture.pressed.connect(self._pointed)
        self._points: list[tuple[int, float, float]] = []
        self.verdict = QLabel()
        self.verdict.setObjectName("title")
        self.verdict.setWordWrap(True)
        self.words = QLabel()
        self.words.setWordWrap(True)
        self.words.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.pointing = QLabel()
        self.pointing.setWordWrap(True)
        self.pointing.hide()
        self.again = QPushButton(tr("Look again"))
        self.again.clicked.connect(self._look_again)
        self.go = QPushButton(tr("Drill this board"))
        self.go.setObjectName("go")
        self.go.setEnabled(False)
        self.go.clicked.connect(lambda: self.wants.emit("drilling"))
        panel = QFrame()
        panel.setObjectName("panel")
        side = QVBoxLayout(panel)
        for part in (self.verdict, self.words, self.pointing):
            side.addWidget(part)
        side.addStretch(1)
        side.addWidget(self.again)
        side.addWidget(self.go)
        panel.setMinimumWidth(320)
        panel.setMaximumWidth(520)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.picture, 5)
        row.addWidget(panel, 2)

    @staticmethod
    def standing(job: JobState) -> Standing:
        if job.job is None:
            return Standing(why=tr("The board's files come first"))
        if job.bench is None or not job.bench.complete:
            return Standing(why=tr("Camera and bench come first"))
        return Standing(done=job.found, note=tr("found") if job.found else "")

    def enter(self) -> None:
        self._points = []
        self.pointing.hide()
        self.verdict.setText(tr("Looking …"))
        self.words.setText(tr("Let the board lie still in full view, hands away."))
        super().enter()

    def show_sight(self, sight: Sight, guidances: list[Guidance]) -> None:
        self.picture.show_sight(sight.image, sight.scene, over=sight.trouble or "")
        registration = sight.registration
        if registration is None:
            return
        found = registration.status == REGISTERED
        if found != self.job.found:
            self.job.set(found=found)
        self.go.setEnabled(found)
        if found:
            self.verdict.setText(tr("Found"))
            # Following says little; the sentence of the first finding stands.
            if registration.message and registration.message != self.words.text():
                if "Found" in registration.message:
                    self.words.setText(registration.message)
            self.pointing.hide()
            return
        self.verdict.setText({
            AMBIGUOUS: tr("It fits in more than one way"),
            MIRRORED: tr("The wrong way round"),
        }.get(registration.status, tr("Not found")))  # fmt: skip
        self.words.setText(registration.message)
        self.pointing.setVisible(registration.status == AMBIGUOUS)
        self._ask()

    # -- two pads pointed out -------------------------------------------------------------

    def _ask(self) -> None:
        if self.pointing.isVisible():
            holes = self._asked()
            number = holes[min(len(self._points), POINTS - 1)]
            self.pointing.setText(tr("Click on the pad of hole {n} in the picture ({k} of 2).",
                                     n=number, k=len(self._points) + 1))  # fmt: skip

    def _asked(self) -> tuple[int, int]:
        """The two holes furthest apart: their pads settle it best."""
        return self.job.job.far_pair

    def _pointed(self, x: float, y: float) -> None:
        if not self.pointing.isVisible() or self.sight is None or self.sight.scene is None:
            return
        u, v = self.sight.scene.view.to_screen.inverse([(x, y)])[0]
        self._points.append((self._asked()[len(self._points)], float(u), float(v)))
        if len(self._points) == POINTS:
            self._settle(tuple(self._points))
            self._points = []
        self._ask()

    def _settle(self, pads) -> None:
        job, bench = self.job.job, self.job.bench
        rig = {} if bench.rig is None else {"rig": bench.rig, "thickness_mm": job.thickness_mm}

        def point_out(live) -> None:
            image = live.frame.image
            found = register_picture(image, job.design, face=job.face, pads=pads, **rig)
            live.registration = live.finder.take(found, image) if found.ok else found

        if self.thread is not None:
            self.thread.call(point_out)

    def _look_again(self) -> None:
        if self.thread is not None:
            self.thread.call(lambda live: live.finder.forget())

    def next_word(self) -> str:
        return self.words.text()
