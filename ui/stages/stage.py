"""What every stage of the job is: a page that is entered and left."""

from __future__ import annotations

from PyQt6.QtCore import pyqtSignal
from PyQt6.QtWidgets import QBoxLayout, QHBoxLayout, QLayout, QWidget

from ui.job import JobState
from ui.look.colours import Colours
from ui.way import Standing


class Stage(QWidget):
    """name: as in `ui.way.STEPS`. wants(name): asks the window for another stage;
    told(sentence): a word for the line at the window's foot."""

    name = ""
    wants = pyqtSignal(str)
    told = pyqtSignal(str)

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__()
        self.job, self.colours = job, colours
        self._row: QHBoxLayout | None = None

    def lay_out(self, picture: QWidget | QLayout, panel: QWidget, shares: tuple[int, int]) -> None:
        """What is looked at, and beside it what is read and pressed."""
        self._row = QHBoxLayout(self)
        self._row.setContentsMargins(0, 0, 0, 0)
        for part, share in zip((picture, panel), shares, strict=True):
            add = self._row.addWidget if isinstance(part, QWidget) else self._row.addLayout
            add(part, share)
        self.set_hand(self.job.settings.left_handed)

    def set_hand(self, left: bool) -> None:
        """The panel stands on the side of the hand that is free."""
        way = QBoxLayout.Direction.RightToLeft if left else QBoxLayout.Direction.LeftToRight
        if self._row is not None:
            self._row.setDirection(way)

    def enter(self) -> None:
        """The stage is shown."""

    def leave(self) -> None:
        """Another one is shown, or the window closes."""

    def shut_down(self) -> None:
        """The window closes: nothing of this stage may go on."""

    def repaint_with(self, colours: Colours) -> None:
        """The theme has changed."""
        self.colours = colours
        for child in self.findChildren(QWidget):
            if hasattr(child, "colours"):
                child.colours = colours
                child.update()

    def next_word(self) -> str:
        """One sentence: what to do now."""
        return ""

    @staticmethod
    def standing(job: JobState) -> Standing:
        """How far this step has got; asked whenever the job changes."""
        raise NotImplementedError
