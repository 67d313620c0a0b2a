"""After the last hole: the check, the report, the record, the next board."""

from __future__ import annotations

from PyQt6.QtWidgets import QLabel, QPushButton, QVBoxLayout

from ui.job import JobState
from ui.look.colours import Colours
from ui.stages.stage import Stage
from ui.way import Standing
from ui.words import tr


class AfterStage(Stage):
    """What was made of the board."""

    name = "after"

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__(job, colours)
        column = QVBoxLayout(self)
        self.title = QLabel(tr("Board finished"))
        self.title.setObjectName("title")
        self.next = QPushButton(tr("Next board of this design  (N)"))
        self.next.setObjectName("go")
        self.next.clicked.connect(self._next)
        column.addWidget(self.title)
        column.addStretch(1)
        column.addWidget(self.next)

    @staticmethod
    def standing(job: JobState) -> Standing:
        if job.board is None:
            return Standing(why=tr("Nothing has been drilled yet"))
        return Standing()

    def _next(self) -> None:
        self.job.next_board()
        self.wants.emit("finding")
