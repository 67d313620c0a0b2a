"""The thread of the table: homes, jogs, drills, and leaves it safe whatever ends it.

The UI thread hands wishes in by a queue and gets frozen values by one signal. A stop does not
queue: it is looked at before every step, and no step lasts longer than a picture takes.
"""

from __future__ import annotations

import logging
import queue
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

from PyQt6.QtCore import QObject, pyqtSignal
from PyQt6.QtGui import QImage

from calibration.table_job import TableJob
from calibration.table_tour import Plan
from drillaid.errors import CameraError, DrillaidError, OutOfReach, UnsafeNow
from drillaid.guidance.events import Confirm
from drillaid.guidance.progress import Progress
from drillaid.guidance.scene import Scene
from drillaid.table import job as j
from drillaid.table.machine import State
from ui.running.guiding import image_of
from ui.running.table_measuring import MEASURING, Accept, Measure, Measuring
from ui.running.table_parts import TableParts
from ui.running.table_scene import scene_at
from ui.words import tr

LEAVE_S = 30.0  # the way of Z included
IDLE_S = 0.05
PICTURE_S = 0.25  # between two pictures while nothing is looked for
APART, STANDING, MOVING = "apart", "standing", "moving"  # where no job runs


@dataclass(frozen=True)
class Home:
    """Connect, if that is to do, and find the home switches."""

    port: str


@dataclass(frozen=True)
class Jog:
    """By so many mm of the table's axes, at the safe height."""

    dx_mm: float
    dy_mm: float


@dataclass(frozen=True)
class Drill:
    """The whole board; dry_run: only looked at."""

    port: str
    dry_run: bool = False


@dataclass(frozen=True)
class Answer:
    """The person confirms this question, and no other that may have come since."""

    state: str
    message: str


@dataclass(frozen=True, eq=False)
class TableSight:
    """state: of the job (`drillaid.table.job`), MEASURING, or one of the three above
    view: the job's, None before there is one; xy_mm: of the table, None where not known
    runs: (done, all) while the table is measured, else None
    """

    state: str
    view: j.JobView | None
    image: QImage | None
    scene: Scene | None
    within: bool
    progress: Progress
    xy_mm: tuple[float, float] | None
    runs: tuple[int, int] | None = None

    @property
    def working(self) -> bool:
        """A job runs, or the table is measured."""
        return self.state not in (APART, STANDING, MOVING)


class TableThread(QObject):
    """make: gives the `TableParts`, called in the thread; size: () -> px of the picture

    plan: of measuring

    seen(): there is a newer `sight`; told(sentence); finished(): the last hole is drilled;
    measured(TableJob): the table is, and is safe; failed(sentence): the thread has ended
    """

    seen = pyqtSignal()
    told = pyqtSignal(str)
    finished = pyqtSignal()
    measured = pyqtSignal(object)
    failed = pyqtSignal(str)

    def __init__(
        self, make: Callable[[], TableParts], work, size, parent=None, *, plan: Plan | None = None
    ) -> None:
        super().__init__(parent)
        self._make, self._size, self._plan = make, size, plan or Plan()
        self._progress = Progress.start(work)
        self._wishes: queue.SimpleQueue = queue.SimpleQueue()
        self._stop, self._closing = threading.Event(), threading.Event()
        self.parts: TableParts | None = None
        self.sight: TableSight | None = None
        self._link = self._machine = self._job = self._steps = None
        self._measuring: Measuring | None = None
        self._view: j.JobView | None = None
        self._image: QImage | None = None
        self._scene: Scene | None = None
        self._shown: tuple = (None, 0.0)
        self._dry_run = self._untaken = False
        self._thread = threading.Thread(target=self._run, name="table", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def ask(self, wish) -> None:
        """Home, Jog, Measure, Accept, Drill, Answer, or an action of the job."""
        self._wishes.put(wish)

    def take(self) -> TableSight | None:
        """The newest; `seen` comes again only after this, so that nothing queues up."""
        self._untaken = False
        return self.sight

    def stop(self) -> None:
        """Hold, spindle off, Z up; before anything else that was asked for."""
        self._stop.set()

    def close(self) -> None:
        """Ends the thread with the table safe."""
        self._closing.set()
        if self._thread.is_alive():
            self._thread.join(LEAVE_S)

    # -- in the thread -----------------------------------------------------------------

    def _run(self) -> None:
        try:
            self.parts = self._make()
            while not self._closing.is_set():
                self._turn()
        except DrillaidError as error:
            self._say(self.failed, str(error))
        except Exception:  # noqa: BLE001 - the window stays, the record is on the disk
            logging.getLogger("drillaid").exception("the table's thread failed")
            self._say(self.failed, tr("Something went wrong inside the program; look at the "
                                      "table, what was done is kept."))  # fmt: skip
        finally:
            self._make_safe()

    def _turn(self) -> None:
        if self._stop.is_set():
            self._stop.clear()
            self._drop_wishes()
            self._make_safe(tell=True)
        while not self._wishes.empty() and not self._stop.is_set():
            self._try(lambda: self._obey(self._wishes.get()))
        if self._job is not None:
            self._work()
        elif self._measuring is not None:
            self._go_on_measuring()
        elif self._steps is not None:
            self._try(self._move)
        else:
            time.sleep(IDLE_S)
        self._look()
        time.sleep(self.parts.ahead_s())

    def _try(self, what) -> None:
        """A refusal changes nothing; any other failure ends the connection, made safe."""
        try:
            what()
        except DrillaidError as error:
            if self._measuring is not None:
                self._break_off(str(error))
                return
            self._say(self.told, str(error))
            if isinstance(error, OutOfReach | UnsafeNow):
                self._steps = None
            else:
                self._make_safe(tell=True)

    def _obey(self, wish) -> None:
        if isinstance(wish, Home | Drill | Measure):
            if self._job is None and self._measuring is None:
                {Home: self._home, Drill: self._drill, Measure: self._measure}[type(wish)](wish)
        elif isinstance(wish, Accept):
            self._say(self.told, self.parts.accept(wish.measured))
        elif isinstance(wish, Jog):
            if self._machine is None or self._steps is not None:
                self._say(self.told, tr("The table must stand at its home first."))
                return
            x, y = self._machine.xy_mm + [wish.dx_mm, wish.dy_mm]
            self._steps = self._machine.travel(float(x), float(y))
        elif isinstance(wish, Answer):
            self._answer(wish)
        elif self._job is not None:
            view = self._job.act(wish)
            if view.refusal:
                self._say(self.told, view.refusal)

    def _answer(self, answer: Answer) -> None:
        view = None if self._job is None else self._job.view
        if view is not None and (view.state, view.message) == (answer.state, answer.message):
            self.parts.confirmed(view)
            self._job.act(Confirm())

    def _home(self, wish: Home) -> None:
        if self._machine is None or self._machine.state is State.OFFLINE:
            self._make_safe()
            self._link = self.parts.open_link(wish.port)
            self._machine = self.parts.machine(self._link)
        machine, self._view = self._machine, None  # what ended before is over

        def steps():
            if machine.state is State.OFFLINE:
                yield from machine.connect()
            yield from machine.home()

        self._steps = steps()

    def _move(self) -> None:
        try:
            next(self._steps)
        except StopIteration:
            self._steps = None

    def _measure(self, wish: Measure) -> None:
        self._make_safe()
        self._link = self.parts.open_link(wish.port)
        self._machine = self.parts.machine(self._link, needs_board=True)
        self._measuring = made = Measuring(self._machine, sheet=wish.sheet)
        made.tour = self.parts.tour(self._machine, wish, self._plan, made.tell)
        self._steps = made.steps()

    def _go_on_measuring(self) -> None:
        made = self._measuring
        self._try(self._move)
        if made.measured is not None:
            self._view = None
            self._hang_up()
            self._say(self.measured, made.measured)

    def _break_off(self, why: str) -> None:
        """A measuring that failed, or was stopped: nothing of it is kept, and why stays in sight."""
        safe = self._machine.make_safe()
        text = f"{why} {safe.message}"
        self._steps, self._view = None, j.JobView(j.STOPPED, text, time.monotonic())
        self._hang_up()
        self._say(self.told, text)

    def _drill(self, wish: Drill) -> None:
        self._make_safe()
        self._dry_run = wish.dry_run
        self._link = self.parts.open_link(wish.port)
        self._job = self.parts.drill_job(
            self._link, lambda sentence: self._say(self.told, sentence), dry_run=wish.dry_run
        )

    def _work(self) -> None:
        job = self._job
        self._view = job.step()
        if job.ledger is not None:
            self._progress = job.ledger.progress
        if job.outcome is not None:
            self._end(job)

    def _end(self, job) -> None:
        self._view, self._job = job.view, None
        self._say(self.told, job.outcome.message)
        if job.outcome.reason == "finished" and not self._dry_run:
            self._say(self.finished)
        self._hang_up()

    def _make_safe(self, *, tell: bool = False) -> None:
        """Whatever runs; the connection is given up, so that nothing goes on by itself."""
        self._steps = None
        try:
            if self._job is not None:
                job = self._job
                job.close()
                self._end(job)
            elif self._measuring is not None:
                self._break_off(tr("Stopped; nothing was measured."))
            elif self._machine is not None:
                safe = self._machine.make_safe()
                if tell:
                    self._say(self.told, safe.message)
        finally:
            self._hang_up()

    def _hang_up(self) -> None:
        link, self._link, self._machine = self._link, None, None
        self._measuring = None
        if link is not None:
            link.close()

    def _drop_wishes(self) -> None:
        while not self._wishes.empty():
            self._wishes.get()

    # -- what is seen ------------------------------------------------------------------

    def _look(self) -> None:
        """The job's own pictures, with what was found in them; else a newer one now and then."""
        now, eye = time.monotonic(), self._eye()
        frame = None if eye is None else eye.frame
        registration = None
        if frame is not None and frame is not self._shown[0]:
            registration = eye.registration
        elif now - self._shown[1] >= PICTURE_S and self._may_look():
            try:
                frame = self.parts.camera.read(IDLE_S)
            except CameraError:
                frame = None
        else:
            frame = None
        if frame is not None:
            self._shown = (self._shown[0] if registration is None else frame), now
            other = self._measuring is not None and self._measuring.sheet  # it has no holes
            view, self._scene = scene_at(
                self.parts, self._size(), frame, None if other else registration, self._view,
                self._progress,
            )  # fmt: skip
            self._image = image_of(view.picture(frame.image))
        self._publish()

    def _eye(self):
        if self._job is not None:
            return self._job.eye
        made = self._measuring
        return None if made is None or made.tour is None else made.tour.eye

    def _may_look(self) -> bool:
        return self._measuring is None and (
            self._view is None or self._view.state != j.LOOKING
        )

    def _publish(self) -> None:
        job, machine, view = self._job, self._machine, self._view
        if job is not None:
            state, machine = view.state if view is not None else j.CAUTIONS, job.machine
        elif self._measuring is not None:
            state, view = MEASURING, self._measuring.view
        elif machine is not None:
            state = MOVING if self._steps is not None else STANDING
        else:
            state = APART
        place = None if machine is None else machine.controller.position_mm
        xy = None if place is None else (float(place[0]), float(place[1]))
        within = state in (j.DRILLING, j.LEVER) and view.distance_mm is not None
        runs = None if self._measuring is None else self._measuring.runs
        self.sight = TableSight(
            state, view, self._image, self._scene, within, self._progress, xy, runs
        )
        if not self._untaken:
            self._untaken = True
            self._say(self.seen)

    def _say(self, signal, *words) -> None:
        try:
            signal.emit(*words)
        except RuntimeError:  # the window is gone already
            pass
