"""The board's files: dropped on the window or chosen, with all that was read at once."""

from __future__ import annotations

from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QFileDialog, QHBoxLayout, QLabel, QPushButton, QVBoxLayout

from drillaid.design.bits import DEFAULT_BITS_MM
from drillaid.guidance.job import Job, prepare
from ui.job import JobState
from ui.look.colours import Colours
from ui.picture.board_map import BoardMap
from ui.picture.board_picture import board_picture
from ui.running.background import Background
from ui.stages.stage import Stage
from ui.way import Standing
from ui.words import bit, tr


class DesignStage(Stage):
    """Reads in the background; the picture, bits, parts and warnings when it is done."""

    name = "design"

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__(job, colours)
        self.reading = Background(self)
        self.reading.done.connect(self._read)
        self.reading.failed.connect(self._failed)
        self.title = QLabel(tr("Drop the board's files here"))
        self.title.setObjectName("title")
        self.title.setWordWrap(True)
        self.facts = QLabel(tr("The drill file, and if you have them the Gerber files of copper "
                               "and outline; a folder or a zip does as well."))  # fmt: skip
        self.facts.setWordWrap(True)
        self.facts.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.map = BoardMap(colours)
        self.choose = QPushButton(tr("Choose files …"))
        self.choose.clicked.connect(self._choose)
        self.go = QPushButton(tr("Go on"))
        self.go.setObjectName("go")
        self.go.setEnabled(False)
        self.go.clicked.connect(lambda: self.wants.emit("bench"))
        side = QVBoxLayout()
        side.addWidget(self.title)
        side.addWidget(self.facts, 1)
        side.addWidget(self.choose)
        side.addWidget(self.go)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.map, 5)
        row.addLayout(side, 2)

    @staticmethod
    def standing(job: JobState) -> Standing:
        if job.job is None:
            return Standing()
        return Standing(done=True, note=job.job.name)

    def open_paths(self, paths: list[str]) -> None:
        """Files, folders or a zip of one board."""
        self.title.setText(tr("Reading …"))
        settings = self.job.settings
        bits = [float(word) for word in settings.bits.split(",")] if settings.bits else None

        def work() -> Job:
            return prepare(
                paths, face=settings.face, thickness_mm=settings.thickness_mm,
                bits_mm=bits or DEFAULT_BITS_MM, tolerance_mm=settings.tolerance_mm,
            )  # fmt: skip

        self.reading.start(work)

    def leave(self) -> None:
        self.reading.forget()

    def _choose(self) -> None:
        paths, _ = QFileDialog.getOpenFileNames(self, tr("The board's files"))
        if paths:
            self.open_paths(paths)

    def _read(self, job: Job) -> None:
        self.job.set_job(job)
        self.map.show_board(*board_picture(job), job.design.xy_mm)
        self.title.setText(job.name)
        lines = [tr("{n} holes", n=len(job.design.holes))]
        lines += [tr("{bit}: {n} holes", bit=bit(mm), n=count) for mm, count in job.bit_counts]
        lines += [part.name for part in job.parts]
        lines += [f"! {warning}" for warning in job.warnings]
        self.facts.setText("\n".join(lines))
        self.go.setEnabled(True)
        self.go.setFocus()

    def _failed(self, sentence: str) -> None:
        self.title.setText(tr("These files cannot be used"))
        self.facts.setText(sentence)
        self.told.emit(sentence)
