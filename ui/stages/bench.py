"""Camera and bench: where pictures come from, what is known of the place, and how it gets known.

The picture is live from the start; the pages beside it are in `ui.calibrating`.
"""

from __future__ import annotations

from functools import partial

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QKeyEvent
from PyQt6.QtWidgets import QStackedWidget

from drillaid.errors import DrillaidError
from drillaid.rig.file import load_rig
from drillaid.rig.frame import Camera
from drillaid.rig.rig import Rig
from drillaid.rig.sources import open_camera
from ui.calibrating.home import HomePage, source_words
from ui.calibrating.lens import LensPage
from ui.calibrating.mark import MarkPage
from ui.calibrating.page import Page
from ui.calibrating.plane import PlanePage, RepairPage
from ui.calibrating.rig_work import RigWork
from ui.calibrating.sheet import SheetPage
from ui.calibrating.spindle import SpindlePage
from ui.calibrating.table import TablePage
from ui.job import PRACTICE, Bench, JobState
from ui.look.colours import Colours
from ui.picture.live_picture import LivePicture, Overlay
from ui.running.background import LEAVE_S
from ui.running.looking import OPENING, LookingThread
from ui.running.workshop import SHEET_HELD
from ui.stages.stage import Stage
from ui.way import Standing
from ui.words import tr

PAGES = (HomePage, SheetPage, LensPage, PlanePage, SpindlePage, TablePage, MarkPage, RepairPage)
DRIVER_S = 12.0  # a driver that opens without an answer gives up by then
HAND_S = 0.25  # between two pictures of the simulated hand, which knows no clock
STILL_S = 0.03


class BenchStage(Stage):
    """A camera and a rig file; or the simulated workshop, to practise in."""

    name = "bench"

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__(job, colours)
        self.rig = RigWork(job)
        self.rig.colours = colours
        self.rig.source = job.settings.camera or PRACTICE
        self.rig.written.connect(self._written)
        self.rig.failed.connect(lambda sentence: self.page.say(sentence))
        self.picture = LivePicture(colours)
        self.picture.pointed.connect(lambda u, v: self.page.point(u, v))
        self.pages: dict[str, Page] = {}
        self.stack = QStackedWidget()
        for kind in PAGES:
            page = kind(self.rig)
            page.gone_to.connect(self.show_page)
            page.lay.connect(self._look)
            page.eye_changed.connect(self._set_eye)
            page.told.connect(self.told)
            self.pages[kind.name] = page
            self.stack.addWidget(page)
        home = self.pages["home"]
        home.source_chosen.connect(self._choose)
        home.used.connect(self._use)
        self.pages["mark"].marked.connect(self._use_mark)
        self.go = home.go
        self.page: Page = home
        self.thread: LookingThread | None = None
        self._showing: tuple | None = None
        self._back_to = ""
        self._give_back = lambda: None
        self._ending: list[LookingThread] = []
        self.lay_out(self.picture, self.stack, (5, 3))
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    @staticmethod
    def standing(job: JobState) -> Standing:
        bench = job.bench
        if bench is None:
            return Standing()
        simulated = bench.source == PRACTICE
        note = tr("simulated") if simulated else source_words(bench.source)
        return Standing(done=bench.complete, note=note)

    # -- life ------------------------------------------------------------------------------

    def enter(self) -> None:
        self._give_back = self.job.part_with_camera()  # a device has one user
        bench = self.job.bench
        if bench is not None:
            self.rig.source = bench.source
        path = self.rig.path or self.job.settings.rig
        if bench is not None and bench.rig_path:
            path = bench.rig_path
        self.rig.open(str(self.rig.practice_path()) if self.rig.practising else path)
        wanted, self.job.repair_wanted = self.job.repair_wanted, False
        self._back_to = "drilling" if wanted else ""
        self.show_page("repair" if wanted else "home")

    def leave(self) -> None:
        self.page.leave()
        before = self._let_go()
        if before is not None:
            self.job.let_go = partial(before.wait, DRIVER_S)

    def shut_down(self) -> None:
        """The window closes."""
        for page in self.pages.values():
            page.shut_down()
        for thread in self._ending:
            thread.wait(LEAVE_S)
        self.rig.close()

    def repaint_with(self, colours: Colours) -> None:
        self.rig.colours = colours
        super().repaint_with(colours)

    def show_page(self, name: str) -> None:
        """One of the pages, beside the picture that it wants."""
        self.page.leave()
        self.page = self.pages[name]
        self.stack.setCurrentWidget(self.page)
        self.page.scroll.to_top()
        self.page.enter()
        self.setFocus()  # the space bar takes the picture until a control is gone to
        self._look()
        self.told.emit(self.next_word())

    def next_word(self) -> str:
        if self.page.name == "home":
            return tr("Choose the camera and see its picture; then the rig file.")
        if self.page.name == "table":
            return tr("Type what the machine's manual says; Escape goes back.")
        return tr("Space takes the picture, Escape goes back.")

    # -- looking ------------------------------------------------------------------------------

    def _look(self) -> None:
        """The camera the page wants; one that is open already goes on."""
        rig, source = self.rig, self.rig.source
        thickness = self.pages["spindle"].thickness.value()
        wanted: tuple = (source, self._size())
        if source == PRACTICE:
            wanted = (source, self.page.scene, thickness, rig.workshop.holes)
        if self.thread is None or self._showing != wanted:
            before = self._let_go()
            self._showing = wanted
            self._start(self._opener(source, thickness, before), source)
        self._set_eye()

    def _size(self) -> tuple[int, int]:
        """Asked of the camera: what the rig was calibrated for."""
        draft = self.rig.draft
        camera = {} if draft is None else draft.section("camera")
        return camera.get("width", 1920), camera.get("height", 1080)

    def _opener(self, source: str, thickness_mm: float, before: LookingThread | None):
        """before: has the camera that was shown until now; a device has one user."""
        scene, size, workshop = self.page.scene, self._size(), self.rig.workshop
        home = self.pages["home"]

        give_back, self._give_back = self._give_back, lambda: None

        def open_it() -> Camera:
            give_back()
            if source == PRACTICE:
                return workshop.camera(scene, thickness_mm)
            home.wait_for_search()
            if before is not None:
                before.wait(DRIVER_S)
            return open_camera(source, size=size, loop=True, paced=True)

        return open_it

    def _start(self, open_it, source: str) -> None:
        hand = source == PRACTICE and self.page.scene == SHEET_HELD
        self.thread = LookingThread(open_it, self.picture.size_px, HAND_S if hand else STILL_S)
        self.thread.looked.connect(self._looked, Qt.ConnectionType.QueuedConnection)
        self.picture.show_look(None, Overlay(), tr("Opening the camera …"))
        self.thread.start()

    def _set_eye(self) -> None:
        if self.thread is not None:
            self.thread.set_eye(self.page.eye())

    def _let_go(self) -> LookingThread | None:
        """Nobody waits for the driver here; whoever opens it next does, in a thread."""
        thread, self.thread = self.thread, None
        if thread is not None:
            thread.looked.disconnect(self._looked)
            thread.stop()
            self._ending = [old for old in self._ending if not old.wait(0.0)] + [thread]
        return thread

    def _stop_looking(self, *, keep: bool = False) -> Camera | None:
        thread, self.thread = self.thread, None
        if thread is None:
            return None
        return thread.close(keep=keep)

    def _looked(self) -> None:
        if self.thread is None:
            return
        look = self.thread.take()
        self.page.show_look(look)
        over = tr("Opening the camera …") if look.state == OPENING else look.trouble
        asked = self.picture.overlay.pointing
        self.picture.show_look(look, self.page.overlay(), over)
        if self.picture.overlay.pointing and not asked:
            self.picture.setFocus()  # the arrow keys point

    # -- choosing ---------------------------------------------------------------------------------

    def _choose(self, source: str) -> None:
        was_practice = self.rig.practising
        self.rig.source = source
        if self.rig.practising:
            self.rig.open(str(self.rig.practice_path()))
        elif was_practice:
            self.rig.open(self.job.settings.rig)
        self._look()

    def _written(self, path: str) -> None:
        """What guides with this file guides with what it says now, or not at all."""
        bench = self.job.bench
        if bench is not None and bench.rig_path == path and bench.source != PRACTICE:
            self.job.set_bench(Bench(bench.source, _loaded(path), path))
        self.told.emit(tr("Written: {path}", path=path))
        if self._back_to and self.job.bench is not None and self.job.bench.complete:
            self.wants.emit(self._back_to)
            return
        self.show_page("home")

    def _use(self) -> None:
        source, path = self.rig.source, self.rig.path
        if source == PRACTICE:
            self._take(Bench(PRACTICE))
            return
        try:
            rig = load_rig(path)
        except DrillaidError as error:
            self.page.say(str(error))
            return
        self.rig.remember()
        self._take(Bench(source, rig, path))

    def _use_mark(self, mark) -> None:
        self._take(Bench(self.rig.source, None, "", mark))

    def _take(self, bench: Bench) -> None:
        """The open camera goes on; it need not be opened twice."""
        camera = None
        if bench.source != PRACTICE:
            camera = self._stop_looking(keep=True)
        self.job.set_bench(bench)
        self.job.camera = camera
        self.job.remember(camera=bench.source)
        self.wants.emit("finding" if self.job.job is not None else "design")

    # -- keys ----------------------------------------------------------------------------

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        key = event.key()
        pedal = key == Qt.Key.Key_Space or key == self.job.settings.pedal_key != 0
        if pedal and not event.isAutoRepeat():
            self.page.press()
        elif key == Qt.Key.Key_Escape and self.page.name != "home":
            self.show_page("home")
        else:
            super().keyPressEvent(event)


def _loaded(path: str) -> Rig | None:
    """None while the file is not whole."""
    try:
        return load_rig(path)
    except DrillaidError:
        return None
