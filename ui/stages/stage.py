"""What every stage of the job is: a page that is entered and left."""

from __future__ import annotations

from PyQt6.QtCore import pyqtSignal
from PyQt6.QtWidgets import QWidget

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
