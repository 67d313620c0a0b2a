"""What every page beside the job's way is: it is opened, and one goes back from it."""

from __future__ import annotations

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from ui.job import JobState
from ui.look.colours import Colours
from ui.words import tr


class Page(QWidget):
    """back(): to the job's way; told(sentence): a word for the line at the window's foot.

    body: the layout to fill; foot: the row of buttons beside the one that leads back
    """

    name = ""
    back = pyqtSignal()
    told = pyqtSignal(str)

    def __init__(self, job: JobState, colours: Colours, title: str) -> None:
        super().__init__()
        self.job, self.colours = job, colours
        heading = QLabel(title)
        heading.setObjectName("title")
        self.body = QVBoxLayout()
        self.foot = QHBoxLayout()
        self.leave_button = QPushButton(tr("Back  (Esc)"))
        self.leave_button.clicked.connect(self.back.emit)
        row = QHBoxLayout()
        row.addLayout(self.foot, 1)
        row.addWidget(self.leave_button)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(heading)
        column.addLayout(self.body, 1)
        column.addLayout(row)

    def enter(self) -> None:
        """The page is shown."""

    def leave(self) -> None:
        """It is shown no longer."""

    def repaint_with(self, colours: Colours) -> None:
        self.colours = colours

    def keyPressEvent(self, event) -> None:  # noqa: N802
        if event.key() == Qt.Key.Key_Escape:
            self.back.emit()
        else:
            super().keyPressEvent(event)
