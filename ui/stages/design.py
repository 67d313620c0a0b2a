"""The board's files: dropped on the window or chosen, with all that was read at once."""

from __future__ import annotations

import os
from datetime import datetime
from pathlib import Path

from PyQt6.QtCore import Qt
from PyQt6.QtGui import QKeySequence, QShortcut
from PyQt6.QtWidgets import (
    QFileDialog,
    QFrame,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QStackedWidget,
    QVBoxLayout,
)

from drillaid.design.bits import DEFAULT_BITS_MM
from drillaid.errors import DrillaidError
from drillaid.guidance.job import Job, prepare
from drillaid.guidance.scene import LEFT
from ui.job import JobState
from ui.look.colours import Colours
from ui.picture.board_map import BoardMap
from ui.picture.board_picture import board_picture
from ui.picture.drop_field import DropField
from ui.running.background import Background
from ui.settings import recent_designs, with_recent
from ui.stages.design_facts import facts_html, headline
from ui.stages.drill_settings import DrillSettings
from ui.stages.stage import Stage
from ui.stages.tall_scroll import TallScroll
from ui.way import Standing
from ui.words import day, tr

_DROP = tr("Drop the board's files here")
_WHICH = tr("The drill list, and if you have them the Gerber files of copper and outline. "
            "A folder or a zip does as well.")  # fmt: skip
SHOWN_RECENT = 4


class DesignStage(Stage):
    """Reads in the background; the picture, bits, parts and warnings when it is done."""

    name = "design"

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__(job, colours)
        self.reading = Background(self)
        self.reading.done.connect(self._read)
        self.reading.failed.connect(self._failed)
        self._paths: tuple[str, ...] = ()
        self._title_and_picture()
        self._side()
        self.lay_out(self._left, self.panel, (5, 4))
        for keys, slot in ((QKeySequence.StandardKey.Open, self._choose),
                           (QKeySequence("Ctrl+Shift+O"), self._choose_folder)):  # fmt: skip
            QShortcut(keys, self, activated=slot)
        job.changed.connect(self._board_changed)

    # -- building ------------------------------------------------------------------------

    def _title_and_picture(self) -> None:
        self.title = QLabel(tr("Which board?"))
        self.title.setObjectName("title")
        self.title.setWordWrap(True)
        self.headline = QLabel()
        self.headline.setObjectName("quiet")
        self.headline.setWordWrap(True)
        self.drop = DropField(self.colours, _DROP, _WHICH)
        self.map = BoardMap(self.colours)
        self.field = QStackedWidget()
        self.field.addWidget(self.drop)
        self.field.addWidget(self.map)
        self._left = QVBoxLayout()
        self._left.addWidget(self.title)
        self._left.addWidget(self.headline)
        self._left.addWidget(self.field, 1)

    def _side(self) -> None:
        self.panel = QFrame()
        self.panel.setObjectName("panel")
        self.settings = DrillSettings(self.job.settings)
        self.settings.changed.connect(self._settings_changed)
        self.settings.wrong.connect(self._settings_wrong)
        self.facts = QLabel()
        self.facts.setTextFormat(Qt.TextFormat.RichText)
        self.facts.setWordWrap(True)
        self.facts.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.facts.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.trouble = QLabel()
        self.trouble.setWordWrap(True)
        self.trouble.hide()
        self.unfinished = QVBoxLayout()
        self.recent = QVBoxLayout()
        self.scroll = TallScroll()
        column = self.scroll.column
        column.addWidget(self.trouble)
        column.addLayout(self.unfinished)
        column.addWidget(self.settings)
        column.addWidget(self.facts)
        column.addLayout(self.recent)
        column.addStretch(1)
        self.choose = QPushButton(tr("Files …"))
        self.choose.setToolTip(tr("Ctrl+O"))
        self.choose.clicked.connect(self._choose)
        self.folder = QPushButton(tr("Folder …"))
        self.folder.setToolTip(tr("Ctrl+Shift+O"))
        self.folder.clicked.connect(self._choose_folder)
        self.go = QPushButton(tr("Go on"))
        self.go.setObjectName("go")
        self.go.setEnabled(False)
        self.go.setAutoDefault(True)
        self.go.clicked.connect(self._go_on)
        buttons = QHBoxLayout()
        buttons.addWidget(self.choose)
        buttons.addWidget(self.folder)
        side = QVBoxLayout(self.panel)
        side.addWidget(self.scroll, 1)
        side.addLayout(buttons)
        side.addWidget(self.go)

    # -- life ----------------------------------------------------------------------------

    @staticmethod
    def standing(job: JobState) -> Standing:
        if job.job is None:
            return Standing()
        return Standing(done=True, note=job.job.name)

    def enter(self) -> None:
        self._show_recent()
        self._board_changed()
        (self.go if self.job.job is not None else self.choose).setFocus()

    def leave(self) -> None:
        self.reading.forget()

    def next_word(self) -> str:
        return tr("Check what was read, then go on.") if self.job.job is not None else _DROP

    def repaint_with(self, colours: Colours) -> None:
        super().repaint_with(colours)
        if self.job.job is not None:
            self.facts.setText(facts_html(self.job.job, colours.quiet, colours.line))

    def _go_on(self) -> None:
        bench = self.job.bench
        self.wants.emit("finding" if bench is not None and bench.complete else "bench")

    # -- choosing ------------------------------------------------------------------------

    def _choose(self) -> None:
        paths, _ = QFileDialog.getOpenFileNames(self, tr("The board's files"), self._near())
        if paths:
            self.open_paths(paths)

    def _choose_folder(self) -> None:
        path = QFileDialog.getExistingDirectory(self, tr("The board's folder"), self._near())
        if path:
            self.open_paths([path])

    def _near(self) -> str:
        known = self._paths or next(iter(recent_designs(self.job.settings)), ())
        return str(Path(known[0]).parent) if known else ""

    def _show_recent(self) -> None:
        _clear(self.recent)
        if self.job.job is not None:
            return
        known = [
            paths
            for paths in recent_designs(self.job.settings)
            if all(os.path.exists(path) for path in paths)
        ]
        if known:
            self.recent.addWidget(_heading(tr("Opened before")))
        for paths in known[:SHOWN_RECENT]:
            first = Path(paths[0])
            button = QPushButton(f"{first.stem}  ({first.parent.name})".replace("&", "&&"))
            button.setToolTip("\n".join(paths))
            button.clicked.connect(lambda _=False, p=paths: self.open_paths(list(p)))
            self.recent.addWidget(button)

    # -- reading -------------------------------------------------------------------------

    def open_paths(self, paths: list[str]) -> None:
        """Files, folders or a zip of one board."""
        if self.job.settings.face != self.settings.face.currentData():
            self.settings.show_settings(self.job.settings)
        self._start(tuple(map(str, paths)))

    def _start(self, paths: tuple[str, ...]) -> None:
        self._wanted = paths
        self.told.emit(tr("Reading …"))
        settings = self.job.settings
        bits = [float(word) for word in settings.bits.split(",") if word]

        def work() -> Job:
            return prepare(
                paths, face=settings.face, thickness_mm=settings.thickness_mm,
                bits_mm=bits or DEFAULT_BITS_MM, tolerance_mm=settings.tolerance_mm,
            )  # fmt: skip

        self.reading.start(work)

    def _settings_changed(self) -> None:
        try:
            self.job.remember(**self.settings.values())
        except DrillaidError as error:
            self._settings_wrong(str(error))
            return
        if self._paths:
            self._start(self._paths)

    def _settings_wrong(self, sentence: str) -> None:
        if sentence:
            self.told.emit(sentence)
        self.go.setEnabled(not sentence and self.job.job is not None)

    def _read(self, job: Job) -> None:
        again = self._paths == self._wanted
        self._paths = self._wanted
        self.job.set_job(job)
        self.map.show_board(*board_picture(job), job.design.xy_mm)
        self.map.show_states((LEFT,) * len(job.design.holes))
        self.field.setCurrentWidget(self.map)
        self.title.setText(job.name)
        self.headline.setText(headline(job))
        self.facts.setText(facts_html(job, self.colours.quiet, self.colours.line))
        self.trouble.hide()
        self._show_recent()
        self._show_unfinished()
        self.go.setEnabled(True)
        self.told.emit(self.next_word())
        if not again:
            self.job.remember(recent=with_recent(self.job.settings, self._paths))
            self.go.setFocus()
            self.scroll.to_top()

    def _failed(self, sentence: str) -> None:
        """What was read before stays; the sentence says what to do."""
        words = sentence
        if self.job.job is not None:
            words += " " + tr("The board read before stays.")
        self.trouble.setText(f"<b>{tr('These files cannot be used')}</b><br>{_plain(words)}")
        self.trouble.show()
        self.scroll.to_top()
        self.told.emit(sentence)

    # -- boards begun before -------------------------------------------------------------

    def _show_unfinished(self) -> None:
        _clear(self.unfinished)
        try:
            board = self.job.unfinished()
        except DrillaidError as error:
            self.told.emit(str(error))
            return
        if board is None or self.job.board is not None:
            return
        if self.job.resume_next:
            self._resume(board.id)
            return
        left = board.holes - board.done - board.skipped
        words = tr("Board {n} of this design was left {day} with {left} of {all} holes to drill.",
                   n=board.id, left=left, all=board.holes,
                   day=day(datetime.fromtimestamp(board.last_at)))  # fmt: skip
        label = QLabel(words)
        label.setWordWrap(True)
        button = QPushButton(tr("Go on with board {n}", n=board.id))
        button.clicked.connect(lambda: self._resume(board.id))
        self.unfinished.addWidget(label)
        self.unfinished.addWidget(button)

    def _resume(self, board: int) -> None:
        _clear(self.unfinished)
        self.job.resume_next = False
        self.job.set(board=board, recheck=True)
        self.told.emit(tr("Board {n} is gone on with: lay it under the camera.", n=board))
        self.go.setFocus()

    def _board_changed(self) -> None:
        """The settings belong to a board that is being drilled, and stay."""
        self.settings.setEnabled(self.job.board is None or self.job.finished)


def _heading(words: str) -> QLabel:
    made = QLabel(f"<b>{words}</b>")
    made.setContentsMargins(0, 8, 0, 0)
    return made


def _plain(text: str) -> str:
    from html import escape

    return escape(text)


def _clear(layout) -> None:
    while layout.count():
        widget = layout.takeAt(0).widget()
        if widget is not None:
            widget.deleteLater()
