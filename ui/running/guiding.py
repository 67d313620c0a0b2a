"""The thread that guides: camera, registration and session, picture after picture.

The UI thread gets frozen values by one signal and hands actions in by a queue. Only
the newest value matters there: while one is being shown, older ones are replaced.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from time import monotonic

import numpy as np
from PyQt6.QtCore import QObject, pyqtSignal
from PyQt6.QtGui import QImage

from drillaid.errors import DrillaidError
from drillaid.guidance.events import Action
from drillaid.guidance.guidance import Guidance
from drillaid.guidance.live import LiveGuidance
from drillaid.guidance.scene import Scene, scene_of
from drillaid.guidance.slowness import Slowness
from drillaid.guidance.view import View
from drillaid.registration.result import Registration
from drillaid.rig.frame import Frame

LEAVE_S = 20.0


@dataclass(frozen=True, eq=False)
class Sight:
    """One moment of guidance, ready to be shown. image: None while no picture comes.

    trouble: the camera's, or the record's, as a sentence; slow: a sentence while guidance
    does not keep up; limit: what limits the place of the hole in hand, a sentence or ""
    taken_s: `monotonic` time at which the picture was taken
    """

    guidance: Guidance
    scene: Scene | None
    image: QImage | None
    registration: Registration | None
    trouble: str | None
    taken_s: float
    slow: str | None = None
    limit: str = ""


def image_of(picture: np.ndarray) -> QImage:
    """uint8 BGR (H, W, 3) as Qt has it; the pixels are its own."""
    height, width = picture.shape[:2]
    data = np.ascontiguousarray(picture)
    return QImage(data.data, width, height, 3 * width, QImage.Format.Format_BGR888).copy()


class GuidingThread(QObject):
    """live: made by the caller, used by this thread alone from `start` on
    view: frame -> View, asked for each picture (the window's size may change)
    spindle_px: () -> (2,) or None, as photographed
    limits: what limits the place of the target, as a sentence

    seen(): a new `sight` is there; `take` gives it. failed(sentence): the thread ended.
    """

    seen = pyqtSignal()
    failed = pyqtSignal(str)
    ended = pyqtSignal()

    def __init__(
        self, live: LiveGuidance, job, view: Callable[[Frame, Registration], View],
        spindle_px: Callable[[], np.ndarray | None], quarter_turns: int = 0,
        limits: Callable[[Guidance, Registration], str] = lambda *_: "",
        parent: QObject | None = None,
    ) -> None:  # fmt: skip
        super().__init__(parent)
        self._live, self._job, self._view, self._spindle_px = live, job, view, spindle_px
        self._turns, self._limits = quarter_turns, limits
        self._actions: queue.SimpleQueue[Action] = queue.SimpleQueue()
        self._calls: queue.SimpleQueue[Callable[[LiveGuidance], None]] = queue.SimpleQueue()
        self._slowness = Slowness()
        self._limit: tuple[int | None, str] = (None, "")
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._sight: Sight | None = None
        self._guidances: list[Guidance] = []
        self._told = False
        self._shown: QImage | None = None
        self._thread = threading.Thread(target=self._run, name="guiding", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def act(self, action: Action) -> None:
        """Carried out before the next picture."""
        self._actions.put(action)

    def call(self, work: Callable[[LiveGuidance], None]) -> None:
        """Done in the thread, between two pictures."""
        self._calls.put(work)

    def take(self) -> tuple[Sight | None, list[Guidance]]:
        """The newest sight, and all guidance since the last call (their events are sounds)."""
        with self._lock:
            self._told = False
            guidances, self._guidances = self._guidances, []
            return self._sight, guidances

    def close(self) -> None:
        """Ends the thread; at once, but for the picture it is at."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(LEAVE_S)

    def _run(self) -> None:
        try:
            while not self._stop.is_set():
                while not self._calls.empty():
                    self._calls.get()(self._live)
                while not self._actions.empty():
                    self._show(self._live.act(self._actions.get()), fresh=False)
                before = self._live.frames
                guidance = self._live.step(0.1)
                if guidance is None:
                    self.ended.emit()
                    return
                self._show(guidance, fresh=self._live.frames != before)
        except DrillaidError as error:
            self.failed.emit(str(error))
        except Exception:  # noqa: BLE001 - the window stays, the record is on the disk
            logging.getLogger("drillaid").exception("guidance failed")
            self.failed.emit("Something went wrong inside the program; what was done is kept.")

    def _limit_of(self, guidance: Guidance) -> str:
        """Asked once for each target: it hardly changes while the board is pushed."""
        registration = self._live.registration
        if guidance.hole is None or registration is None or guidance.aim is None:
            return self._limit[1]
        if self._limit[0] != guidance.hole:
            self._limit = guidance.hole, self._limits(guidance, registration)
        return self._limit[1]

    def _show(self, guidance: Guidance, *, fresh: bool) -> None:
        live, frame = self._live, self._live.frame
        scene = None
        if frame is not None:
            view = self._view(frame, live.registration)
            if fresh or self._shown is None:
                self._shown = image_of(view.picture(frame.image))
            job = self._job
            scene = scene_of(
                view, self._spindle_px(), job.design, job.settings, guidance, live.registration,
                live.session.progress, self._turns,
            )  # fmt: skip
        slow = self._slowness.look(guidance.latency_ms if fresh else None)
        age = 0.0 if frame is None or guidance.latency_ms is None else guidance.latency_ms / 1000
        sight = Sight(
            guidance, scene, self._shown, live.registration, live.trouble or live.unwritten,
            monotonic() - age, slow, self._limit_of(guidance),
        )  # fmt: skip
        with self._lock:
            self._sight = sight
            self._guidances.append(guidance)
            tell = not self._told
            self._told = True
        if tell:
            self.seen.emit()
