"""The window: the way on one side, the stage at hand beside it, one line of words below."""

from __future__ import annotations

from functools import partial

from PyQt6.QtCore import Qt, QTimer
from PyQt6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent, QKeySequence, QShortcut
from PyQt6.QtWidgets import (
    QApplication,
    QBoxLayout,
    QHBoxLayout,
    QLabel,
    QMainWindow,
    QPushButton,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from ui import settings as remembered
from ui.job import JobState
from ui.look.colours import THEMES
from ui.look.style import LARGEST, SMALLEST, sheet
from ui.pages.boards import BoardsPage
from ui.pages.comfort import ComfortPage
from ui.pages.help import HelpPage
from ui.pages.page import Page
from ui.stages.after import AfterStage
from ui.stages.bench import BenchStage
from ui.stages.design import DesignStage
from ui.stages.drilling import DrillingStage
from ui.stages.finding import FindingStage
from ui.stages.stage import Stage
from ui.stages.table import TableStage
from ui.way import STEPS, WayRail
from ui.words import tr

PAGES = ((BoardsPage, "F8"), (ComfortPage, "F9"), (HelpPage, "F1"))
STAGES = (DesignStage, BenchStage, FindingStage, DrillingStage, AfterStage, TableStage)
IN_PLACE_OF = {"table": "drilling"}  # the same step of the way, done another way


class Window(QMainWindow):
    """job: what is worked on. `go(name)` shows a stage, if it can be gone to."""

    def __init__(self, job: JobState) -> None:
        super().__init__()
        self.job = job
        self.colours = THEMES[job.settings.theme]
        self.setWindowTitle("drillaid")
        self.setAcceptDrops(True)
        self._painted = ""
        self.stages: dict[str, Stage] = {}
        self.stack = QStackedWidget()
        for kind in STAGES:
            stage = kind(job, self.colours)
            stage.wants.connect(self.go)
            stage.told.connect(self.tell)
            self.stages[kind.name] = stage
            self.stack.addWidget(stage)
        self.pages: dict[str, Page] = {}
        self.page: Page | None = None  # over the stage at hand
        for kind, _ in PAGES:
            page = kind(job, self.colours)
            page.back.connect(self.close_page)
            page.told.connect(self.tell)
            self.pages[kind.name] = page
            self.stack.addWidget(page)
        self.way = WayRail(STEPS, self.colours)
        self.way.gone_to.connect(self.go)
        self.line = QLabel()
        self.line.setWordWrap(True)
        self.line.setMinimumHeight(24)
        self._lay_out()
        self.at = "design"
        self._entered = False
        job.changed.connect(self._stand)
        job.remembered.connect(self._remember)
        self._shortcuts()
        self._paint()
        self._stand()

    def _lay_out(self) -> None:
        middle = QWidget()
        self._row = QHBoxLayout()
        self._row.addWidget(self.way)
        self._row.addWidget(self.stack, 1)
        column = QVBoxLayout(middle)
        column.setContentsMargins(10, 10, 10, 6)
        column.addLayout(self._row, 1)
        foot = QHBoxLayout()
        foot.addWidget(self.line, 1)
        words = {"boards": tr("Boards done"), "settings": tr("Settings"), "help": tr("Help")}
        for kind, keys in PAGES:
            button = QPushButton(f"{words[kind.name]}  ({keys})")
            button.setObjectName("foot")
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            button.clicked.connect(partial(self.open_page, kind.name))
            foot.addWidget(button)
        column.addLayout(foot)
        self.setCentralWidget(middle)
        self._set_hand(self.job.settings.left_handed)

    def _set_hand(self, left: bool) -> None:
        way = QBoxLayout.Direction.RightToLeft if left else QBoxLayout.Direction.LeftToRight
        self._row.setDirection(way)
        for stage in self.stages.values():
            stage.set_hand(left)

    def _shortcuts(self) -> None:
        for keys, slot in (
            ("F11", self._full_screen),
            ("Ctrl++", lambda: self._type_by(0.1)),
            ("Ctrl+-", lambda: self._type_by(-0.1)),
            ("F10", self._other_theme),
            *((keys, partial(self.open_page, kind.name)) for kind, keys in PAGES),
        ):
            QShortcut(QKeySequence(keys), self, activated=slot)

    # -- the way -----------------------------------------------------------------------

    def showEvent(self, event) -> None:  # noqa: N802
        super().showEvent(event)
        if not self._entered:
            self._entered = True
            QTimer.singleShot(0, self.stages[self.at].enter)

    def open_page(self, name: str, _checked: bool = False) -> None:
        """Over the stage at hand, which rests meanwhile. The same once more leads back."""
        if self.page is self.pages[name]:
            self.close_page()
            return
        if self.page is None:
            self.stages[self.at].leave()
        else:
            self.page.leave()
        self.page = self.pages[name]
        self.stack.setCurrentWidget(self.page)
        self.tell("")
        self.page.enter()

    def close_page(self) -> None:
        """Back to the stage at hand."""
        if self.page is not None:
            page, self.page = self.page, None
            page.leave()
            self.stack.setCurrentWidget(self.stages[self.at])
            self.stages[self.at].enter()

    def go(self, name: str) -> None:
        standing = self.stages[name].standing(self.job)
        if standing.why and name != self.at:
            self.tell(standing.why)
            return
        if self.page is not None:
            page, self.page = self.page, None
            page.leave()
        else:
            self.stages[self.at].leave()
        self.at = name
        stage = self.stages[name]
        self.stack.setCurrentWidget(stage)
        self.tell(stage.next_word())
        stage.enter()
        self._stand()

    def _stand(self) -> None:
        standing = {name: stage.standing(self.job) for name, stage in self.stages.items()}
        self.way.show_standing(IN_PLACE_OF.get(self.at, self.at), standing)

    def tell(self, sentence: str) -> None:
        """On the line at the foot."""
        self.line.setText(sentence)

    # -- files dropped ------------------------------------------------------------------

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:  # noqa: N802
        if event.mimeData().hasUrls():
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:  # noqa: N802
        paths = [url.toLocalFile() for url in event.mimeData().urls() if url.isLocalFile()]
        if paths:
            event.acceptProposedAction()
            self.open_paths(paths)

    def open_paths(self, paths: list[str]) -> None:
        """A design, wherever in the job one is."""
        if self.at != "design" or self.page is not None:
            self.go("design")
        self.stages["design"].open_paths(paths)

    # -- comfort --------------------------------------------------------------------------

    def _remember(self, settings: remembered.Settings) -> None:
        if not remembered.save(settings):
            self.tell(tr("The settings cannot be written; they hold for today."))
        self.colours = THEMES[settings.theme]
        self._set_hand(settings.left_handed)
        self._paint()

    def _paint(self) -> None:
        app = QApplication.instance()
        wanted = sheet(self.colours, self.job.settings.type_scale)
        # Every widget is polished anew, which takes half a second: not for each thing remembered.
        if app.styleSheet() == wanted and self._painted == wanted:
            return
        app.setStyleSheet(wanted)
        self._painted = wanted
        for stage in self.stages.values():
            stage.repaint_with(self.colours)
        for page in self.pages.values():
            page.repaint_with(self.colours)
        for button in self.way.buttons.values():
            button.colours = self.colours
            button.update()

    def _type_by(self, step: float) -> None:
        scale = min(LARGEST, max(SMALLEST, self.job.settings.type_scale + step))
        self.job.remember(type_scale=scale)

    def _other_theme(self) -> None:
        self.job.remember(theme="light" if self.colours.name == "dark" else "dark")

    def _full_screen(self) -> None:
        self.showNormal() if self.isFullScreen() else self.showFullScreen()

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802
        (self.page or self.stages[self.at]).leave()
        for stage in self.stages.values():
            stage.shut_down()
        self.pages["boards"].work.close()
        self.job.close()
        super().closeEvent(event)
