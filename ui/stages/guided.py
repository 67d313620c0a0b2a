"""What the stages with a live picture share: the guiding thread and the practice bench's hand."""

from __future__ import annotations

from PyQt6.QtCore import Qt

from drillaid.errors import DrillaidError
from drillaid.guidance.view import View
from ui.job import PRACTICE, JobState, reason_of
from ui.look.colours import Colours
from ui.picture.camera_picture import CameraPicture
from ui.running import practice
from ui.running.guiding import GuidingThread, Sight
from ui.stages.stage import Stage


class GuidedStage(Stage):
    """Starts a `GuidingThread` when entered and ends it when left.

    show_sight(sight, guidances) is called on the UI thread for each new one.
    """

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__(job, colours)
        self.picture = CameraPicture(colours)
        self.picture.dragged.connect(self._drag)
        self.picture.wheeled.connect(self._wheel)
        self.thread: GuidingThread | None = None
        self.sight: Sight | None = None
        self._size = self.picture.size_px()
        self.picture.resized.connect(self._resized)

    # -- life -----------------------------------------------------------------------

    def enter(self) -> None:
        self.sight = None
        self._size = self.picture.size_px()
        try:
            live = self.job.make_live()
            self.prepare(live)
        except DrillaidError as error:
            self.show_failure(reason_of(error))
            return
        self.thread = GuidingThread(
            live, self.job.job, self._view, self.job.spindle_px, self.job.settings.turns, self
        )
        self.thread.seen.connect(self._take, Qt.ConnectionType.QueuedConnection)
        self.thread.failed.connect(self.show_failure)
        self.thread.ended.connect(lambda: self.show_failure("The recording has ended."))
        self.thread.start()

    def prepare(self, live) -> None:
        """Before the thread starts."""

    def leave(self) -> None:
        thread, self.thread = self.thread, None
        if thread is not None:
            thread.close()
            thread.deleteLater()

    # -- what comes from the thread ---------------------------------------------------

    def _view(self, frame, registration) -> View:
        return self.view_of(self._size, frame, registration)

    def view_of(self, size, frame, registration) -> View:
        """Called from the thread."""
        return self.job.whole_view(size, frame, registration)

    def _resized(self, width: int, height: int) -> None:
        self._size = (width, height)

    def _take(self) -> None:
        if self.thread is None:
            return
        sight, guidances = self.thread.take()
        if sight is not None:
            self.sight = sight
            self.show_sight(sight, guidances)

    def show_sight(self, sight: Sight, guidances: list) -> None:
        """A newer moment of guidance."""

    def show_failure(self, sentence: str) -> None:
        self.picture.show_sight(None, None, over=sentence)
        self.told.emit(sentence)

    # -- the practice bench's hand ------------------------------------------------------

    @property
    def practising(self) -> bool:
        bench = self.job.bench
        return bench is not None and bench.source == PRACTICE and self.job.practice is not None

    def _drag(self, dx: float, dy: float, turning: bool) -> None:
        if not self.practising or self.sight is None or self.sight.scene is None:
            return
        if turning:
            practice.turn(self.job.practice, dx)
        else:
            practice.drag(self.job.practice, dx, dy, self.sight.scene.view.px_per_mm)

    def _wheel(self, clicks: float) -> None:
        if self.practising:
            practice.turn(self.job.practice, 3.0 * clicks)
