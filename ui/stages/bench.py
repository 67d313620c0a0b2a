"""Camera and bench: where pictures come from, and what is known of the place."""

from __future__ import annotations

from PyQt6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QLineEdit, QPushButton, QVBoxLayout

from drillaid.errors import DrillaidError
from drillaid.rig.file import load_rig
from ui.job import PRACTICE, Bench, JobState
from ui.look.colours import Colours
from ui.stages.stage import Stage
from ui.way import Standing
from ui.words import tr


class BenchStage(Stage):
    """A camera and a rig file; or the simulated bench, to practise on."""

    name = "bench"

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__(job, colours)
        self.camera = QComboBox()
        self.camera.setEditable(True)
        self.camera.addItem(tr("Simulated bench, to practise"), PRACTICE)
        for number in range(4):
            self.camera.addItem(tr("Camera {n}", n=number), str(number))
        self.rig = QLineEdit(job.settings.rig)
        self.rig.setPlaceholderText(tr("Rig file"))
        self.words = QLabel()
        self.words.setWordWrap(True)
        self.go = QPushButton(tr("Use this bench"))
        self.go.setObjectName("go")
        self.go.clicked.connect(self._use)
        column = QVBoxLayout(self)
        title = QLabel(tr("Camera and bench"))
        title.setObjectName("title")
        for part in (title, self.camera, self.rig, self.words):
            column.addWidget(part)
        column.addStretch(1)
        row = QHBoxLayout()
        row.addStretch(1)
        row.addWidget(self.go)
        column.addLayout(row)

    @staticmethod
    def standing(job: JobState) -> Standing:
        bench = job.bench
        if bench is None:
            return Standing()
        simulated = bench.source == PRACTICE
        note = tr("simulated") if simulated else tr("camera {n}", n=bench.source)
        return Standing(done=bench.complete, note=note)

    def _source(self) -> str:
        index = self.camera.currentIndex()
        if index >= 0 and self.camera.currentText() == self.camera.itemText(index):
            return self.camera.itemData(index)
        return self.camera.currentText().strip()

    def _use(self) -> None:
        source = self._source()
        try:
            path = self.rig.text().strip()
            rig = load_rig(path) if path and source != PRACTICE else None
            bench = Bench(source, rig, path)
        except DrillaidError as error:
            self.words.setText(str(error))
            return
        if not bench.complete:
            self.words.setText(tr("Nobody knows yet where the spindle stands in the picture."))
            return
        self.job.set_bench(bench)
        self.job.remember(camera=source, rig=path)
        self.wants.emit("finding" if self.job.job is not None else "design")
