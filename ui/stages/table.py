"""Drilling by table: connect, home, measure it, watch it drill; one large stop."""

from __future__ import annotations

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QKeyEvent, QKeySequence, QShortcut
from PyQt6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget
from serial.tools import list_ports

from calibration.table_job import TableJob
from calibration.table_tour import Plan
from calibration.table_tour_of import BEFORE
from drillaid.guidance.events import Pause, Resume, Skip
from drillaid.table import job as j
from ui.job import PRACTICE, JobState
from ui.look.colours import Colours
from ui.picture.camera_picture import CameraPicture
from ui.picture.key_button import KeyButton
from ui.picture.table_card import TableCard
from ui.picture.table_figures import TableFigures
from ui.picture.table_panel import TablePanel
from ui.running.background import Background
from ui.running.table_measuring import MEASURING, Accept, Measure
from ui.running.table_parts import SIM, TableParts
from ui.running.table_running import STANDING, Answer, Drill, Home, Jog, TableThread
from ui.stages.stage import Stage
from ui.way import Standing
from ui.words import tr


class TableStage(Stage):
    """The same place on the way as drilling by hand; gone to from where the board is found.

    paced: the simulated table takes its real time; plan: of measuring the table
    """

    name = "table"
    paced = True
    plan = Plan()

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__(job, colours)
        self.thread: TableThread | None = None
        self._agreed = False
        self._after_reading = None
        self._question: tuple[str, str] | None = None  # of the job, as last shown
        self._answered: tuple[str, str] | None = None
        self.picture = CameraPicture(colours)
        self.panel = TablePanel(colours)
        self.pause = KeyButton(colours, tr("Pause"), "P")
        self.skip = KeyButton(colours, tr("Put aside"), "S")
        self.pause.clicked.connect(self._pause_or_resume)
        self.skip.clicked.connect(lambda: self._ask(Skip()))
        self._left = QWidget()  # cards cover it and nothing else: the stop stays in sight
        self._lay_out()
        self.card = TableCard(colours, self._left)
        self.card.agreed.connect(self._confirmed)
        self.figures = TableFigures(colours, self._left)
        self.figures.accepted.connect(lambda measured: self._ask(Accept(measured)))
        self.figures.shut.connect(self.setFocus)
        self.ports = Background(self)
        self.ports.done.connect(self.panel.show_ports)
        self.panel.search.connect(self._search)
        self.panel.home.connect(self._home)
        self.panel.jog.connect(lambda dx, dy: self._ask(Jog(dx, dy)))
        self.panel.measure.connect(self._measure)
        self.panel.drill.connect(self._drill)
        self.panel.by_hand.connect(lambda: self.wants.emit("drilling"))
        self.panel.stop.connect(self.stop)
        key = QShortcut(QKeySequence("Esc"), self, activated=self.stop)
        key.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def _lay_out(self) -> None:
        keys = QHBoxLayout()
        keys.addWidget(self.pause)
        keys.addWidget(self.skip)
        left = QVBoxLayout(self._left)
        left.setContentsMargins(0, 0, 0, 0)
        left.addWidget(self.picture, 1)
        left.addLayout(keys)
        self.lay_out(self._left, self.panel, (5, 2))

    @staticmethod
    def standing(job: JobState) -> Standing:
        from ui.stages.drilling import DrillingStage

        return DrillingStage.standing(job)

    # -- life --------------------------------------------------------------------------

    def enter(self) -> None:
        self._agreed = False
        self.panel.show_job(self.job.job)
        self.panel.may_follow_sheet(self.job.bench.source != PRACTICE)
        self._search()
        self.picture.show_sight(None, None, over=tr("Opening the camera …"))
        size, job, paced = self.picture.size_px, self.job, self.paced

        def make() -> TableParts:
            with job.opening:
                return TableParts(job, paced=paced)

        self.thread = TableThread(make, job.job.work, size, self, plan=self.plan)
        self.thread.seen.connect(self._take, Qt.ConnectionType.QueuedConnection)
        self.thread.told.connect(self.told)
        self.thread.finished.connect(lambda: self.job.set(finished=True))
        self.thread.measured.connect(self._measured)
        self.thread.failed.connect(self._failed)
        self.thread.start()
        self.setFocus()

    def leave(self) -> None:
        self.card.close_card()
        self.figures.close_card()
        thread, self.thread = self.thread, None
        if thread is not None:
            thread.close()
            thread.deleteLater()

    def shut_down(self) -> None:
        self.leave()
        self.ports.close()

    def next_word(self) -> str:
        return tr("Connect and home the table, or let it drill the board.")

    def _failed(self, sentence: str) -> None:
        self.picture.show_sight(None, None, over=sentence)
        self.told.emit(sentence)

    def _search(self) -> None:
        if self.job.bench.source == PRACTICE:
            self.panel.show_ports([(SIM, tr("the simulated table"))])
            return
        self.ports.start(
            lambda: [(port.device, port.description) for port in list_ports.comports()]
        )

    # -- what is shown -----------------------------------------------------------------

    def _take(self) -> None:
        sight = None if self.thread is None else self.thread.take()
        if sight is None:
            return
        view = sight.view
        failed = view is not None and view.state == j.STOPPED
        over = view.message if failed else ""
        self.picture.show_sight(sight.image, sight.scene, within=sight.within, over=over)
        self.panel.show_sight(sight, standing=sight.state == STANDING)
        self.pause.setEnabled(sight.working and sight.state != MEASURING)
        self.pause.setText(tr("Go on") if sight.state == j.PAUSED else tr("Pause"))
        self.skip.setEnabled(sight.working and view is not None and view.hole is not None)
        asked = None
        if sight.working and sight.state in j.ASKS and view.message:
            asked = sight.state, view.message
        self._question = asked
        if asked != self._answered:
            self._answered = None
        if asked is not None and asked != self._answered:
            self.card.offer(sight.state, view.message, view.cautions, view.bit_mm)
        elif self._after_reading is None and self.card.isVisible():
            self.card.close_card()
            self.setFocus()

    # -- the person --------------------------------------------------------------------

    def stop(self) -> None:
        """Whatever the table does; leaves it standing, spindle off, bit up."""
        self._after_reading = None
        if self.thread is not None:
            self.thread.stop()

    def _ask(self, wish) -> None:
        if self.thread is not None:
            self.thread.ask(wish)

    def _home(self) -> None:
        """The cautions are read before the first motion; a job asks that itself."""
        if self._agreed:
            self._ask(Home(self.panel.port.currentText()))
            return
        self._after_reading = Home(self.panel.port.currentText())
        self.card.offer(j.CAUTIONS, tr("The table will move to its home switches."),
                        j.table_cautions())  # fmt: skip

    def _measure(self) -> None:
        """Asked each time: what must be so before it is more than before homing."""
        self._after_reading = Measure(
            self.panel.port.currentText(), self.panel.sheet, self.panel.height.value()
        )
        self.card.offer(
            j.CAUTIONS,
            tr("To measure how it moves, the table homes, then goes to and fro for some minutes "
               "at the safe height.")
            + " " + tr(BEFORE),
            j.table_cautions(),
        )  # fmt: skip

    def _measured(self, measured: TableJob) -> None:
        practice = self.job.bench.source == PRACTICE
        self.figures.offer(measured, "" if practice else self.job.bench.rig_path)

    def _drill(self) -> None:
        self._ask(Drill(self.panel.port.currentText(), self.panel.dry.isChecked()))

    def _confirmed(self) -> None:
        wish, self._after_reading = self._after_reading, None
        if wish is not None:
            self._agreed = True
            self._ask(wish)
        elif self._question is not None:
            self._answered = self._question
            self._ask(Answer(*self._question))
        self.setFocus()

    def _pause_or_resume(self) -> None:
        sight = None if self.thread is None else self.thread.sight
        paused = sight is not None and sight.state == j.PAUSED
        self._ask(Resume() if paused else Pause())

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802
        key = event.key()
        pedal = key == Qt.Key.Key_Space or key == self.job.settings.pedal_key != 0
        if pedal and not event.isAutoRepeat():
            self.card.press()
            self.figures.press()
        elif key == Qt.Key.Key_P and self.pause.isEnabled():
            self._pause_or_resume()
        elif key == Qt.Key.Key_S and self.skip.isEnabled():
            self._ask(Skip())
        else:
            super().keyPressEvent(event)

    def resizeEvent(self, event) -> None:  # noqa: N802
        super().resizeEvent(event)
        for card in (self.card, self.figures):
            if card.isVisible():
                card.settle()
