"""What the stages with a live picture share: the guiding thread and the practice bench's hand."""

from __future__ import annotations

from PyQt6.QtCore import Qt, QTimer

from drillaid.guidance.view import View
from ui.job import PRACTICE, JobState
from ui.look.colours import Colours
from ui.picture.camera_picture import CameraPicture
from ui.running import practice
from ui.running.background import Background
from ui.running.guiding import GuidingThread, Sight
from ui.stages.stage import Stage
from ui.words import tr

RETRY_MS = 2500


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
        self.entered = False
        self._size = self.picture.size_px()
        self.picture.resized.connect(self._resized)
        self.opening = Background(self)
        self.opening.done.connect(self._guide)
        self.opening.failed.connect(self._not_opened)
        self._retry = QTimer(self)
        self._retry.setSingleShot(True)
        self._retry.setInterval(RETRY_MS)
        self._retry.timeout.connect(self.begin)

    # -- life -----------------------------------------------------------------------

    def enter(self) -> None:
        self.entered = True
        self.begin()

    def begin(self) -> None:
        """Opens camera and record beside the window; tried again until it works."""
        self._end_thread()
        self.sight = None
        self._size = self.picture.size_px()
        self.picture.show_sight(None, None, over=tr("Opening the camera …"))

        def work():
            with self.job.opening:
                if not self.entered:
                    return None
                live = self.job.make_live()
                self.prepare(live)
                return live

        self.opening.start(work)

    def _guide(self, live) -> None:
        if live is None or not self.entered:
            return
        self.thread = GuidingThread(
            live, self.job.job, self._view, self.job.spindle_px, self.job.settings.turns,
            self.job.limit_of, self,
        )  # fmt: skip
        self.thread.seen.connect(self._take, Qt.ConnectionType.QueuedConnection)
        self.thread.failed.connect(self._not_opened)
        self.thread.ended.connect(lambda: self.show_failure(tr("The recording has ended.")))
        self.thread.start()

    def _not_opened(self, sentence: str) -> None:
        if self.entered:
            self.show_failure(sentence)
            self._retry.start()

    def prepare(self, live) -> None:
        """Before the thread starts; called beside the window."""

    def leave(self) -> None:
        self.entered = False
        self._retry.stop()
        self.opening.forget()
        self._end_thread()

    def shut_down(self) -> None:
        self.opening.close()

    def _end_thread(self) -> None:
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
        bench, scale = self.job.practice, self.sight.scene.view.px_per_mm
        if turning:
            self.job.errands.put(lambda: practice.turn(bench, dx))
        else:
            self.job.errands.put(lambda: practice.drag(bench, dx, dy, scale))

    def _wheel(self, clicks: float) -> None:
        if self.practising:
            bench = self.job.practice
            self.job.errands.put(lambda: practice.turn(bench, 3.0 * clicks))
