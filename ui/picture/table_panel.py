"""Beside the picture while the table drills: port, home, jog, what is done, and the stop."""

from __future__ import annotations

from PyQt6.QtCore import QSize, Qt, pyqtSignal
from PyQt6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDoubleSpinBox,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QProgressBar,
    QPushButton,
    QSizePolicy,
    QVBoxLayout,
)

from drillaid.guidance.scene import states_of
from ui.look.colours import Colours
from ui.picture.board_map import BoardMap
from ui.picture.board_picture import board_picture
from ui.picture.fitted import FittedLabel
from ui.stages.tall_scroll import TallScroll
from ui.words import bit, mm, tr

STEPS_MM = (0.1, 1.0, 10.0)
_ARROWS = (("▲", 0, 1, 0, 1), ("◀", 1, 0, -1, 0), ("▶", 1, 2, 1, 0), ("▼", 2, 1, 0, -1))
# sign, row and column of the grid, direction in x and y


class TablePanel(QFrame):
    """home(), jog(dx_mm, dy_mm), measure(), drill(), by_hand(), search(): as the buttons say
    stop(): the large one, which is never covered, disabled or out of sight."""

    home = pyqtSignal()
    jog = pyqtSignal(float, float)
    measure = pyqtSignal()
    drill = pyqtSignal()
    by_hand = pyqtSignal()
    search = pyqtSignal()
    stop = pyqtSignal()

    def __init__(self, colours: Colours) -> None:
        super().__init__()
        self.setObjectName("panel")
        self.colours = colours
        self.port = QComboBox()
        self.port.setEditable(True)
        self.port.setAccessibleName(tr("Port of the table"))
        self.port.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.find = _button(tr("Search"), self.search)
        self.homing = _button(tr("Connect and home"), self.home)
        self.measuring = _button(tr("Measure …"), self.measure)
        self.measuring.setAccessibleName(tr("Measure how the table moves"))
        self.measuring.setToolTip(self.measuring.accessibleName())
        self.follow = QComboBox()
        self.follow.setAccessibleName(tr("What the camera follows while the table is measured"))
        self.follow.addItem(tr("Measure by this board"), False)
        self.follow.addItem(tr("Measure by the printed test board"), True)
        self.height = QDoubleSpinBox()
        self.height.setAccessibleName(tr("Height of the test board's face over the bench"))
        self.height.setRange(0.0, 100.0)
        self.height.setDecimals(1)
        self.height.setPrefix(tr("its face is "))
        self.height.setSuffix(tr(" mm over the bench"))
        self.height.hide()
        self.follow.currentIndexChanged.connect(lambda: self.height.setVisible(self.sheet))
        self.step = QComboBox()
        self.step.setAccessibleName(tr("Step"))
        for step in STEPS_MM:
            self.step.addItem(mm(step, 1), step)
        self.step.setCurrentIndex(1)
        self.arrows = [self._arrow(*arrow) for arrow in _ARROWS]
        self.place = QLabel()
        self.place.setObjectName("quiet")
        self.dry = QCheckBox(tr("Dry run"))
        self.dry.setToolTip(tr("Goes to each hole and looks; nothing turns or goes down"))
        self.go = _button(tr("Drill the board by table"), self.drill)
        self.go.setObjectName("go")
        self.back = _button(tr("By hand instead"), self.by_hand)
        self.hole = FittedLabel(colours, 1.7, bold=True)
        self.bit = FittedLabel(colours, 1.7, bold=True, align=Qt.AlignmentFlag.AlignRight)
        self.sentence = FittedLabel(colours, 1.0, lines=2)
        self.progress = QProgressBar()
        self.progress.setTextVisible(False)
        self.progress.setFixedHeight(14)
        self.counts = FittedLabel(colours, 1.0)
        self.map = BoardMap(colours)
        self.map.setMinimumHeight(90)
        self.halt = _button(tr("STOP  (Esc)"), self.stop)
        self.halt.setObjectName("stop")
        self.halt.setFocusPolicy(Qt.FocusPolicy.NoFocus)  # a card holds the keyboard
        self.honest = QLabel(tr("This is no emergency stop: that one is wired to the power."))
        self.honest.setObjectName("quiet")
        self.honest.setWordWrap(True)
        self._lay_out()

    def _arrow(self, sign: str, row: int, column: int, x: int, y: int) -> tuple:
        made = QPushButton(sign)
        made.setAccessibleName(
            tr("Table by one step: {way}", way=f"{'+' if x + y > 0 else '-'}{'X' if x else 'Y'}")
        )
        made.setToolTip(made.accessibleName())
        made.clicked.connect(lambda: self.jog.emit(x * self.step_mm, y * self.step_mm))
        return made, row, column

    @property
    def step_mm(self) -> float:
        return float(self.step.currentData())

    @property
    def sheet(self) -> bool:
        """The printed test board is to be followed."""
        return bool(self.follow.currentData())

    def _lay_out(self) -> None:
        self.before = QFrame()
        self.before.setObjectName("panel")
        setting = QVBoxLayout(self.before)
        setting.setContentsMargins(0, 0, 0, 0)
        ports = QHBoxLayout()
        ports.addWidget(self.port, 1)
        ports.addWidget(self.find)
        jogging = QGridLayout()
        for made, row, column in self.arrows:
            jogging.addWidget(made, row, column)
        jogging.addWidget(self.step, 1, 1)
        setting.addLayout(ports)
        setting.addLayout(_row((self.homing, 1), (self.measuring, 0)))
        for part in (self.follow, self.height):
            setting.addWidget(part)
        setting.addLayout(jogging)
        for part in (self.place, self.go):
            setting.addWidget(part)
        setting.addLayout(_row((self.dry, 1), (self.back, 0)))
        names = QHBoxLayout()
        names.addWidget(self.hole, 1)
        names.addWidget(self.bit, 1)
        side = QVBoxLayout(self)
        side.setContentsMargins(10, 8, 10, 8)
        side.setSpacing(5)
        scroll = TallScroll()  # large type: all but the stop may go out of sight
        column = scroll.column
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.before)
        column.addLayout(names)
        for part in (self.sentence, self.progress, self.counts):
            column.addWidget(part)
        column.addWidget(self.map, 1)
        side.addWidget(scroll, 1)
        side.addWidget(self.halt)
        side.addWidget(self.honest)
        self.setMaximumWidth(560)

    def minimumSizeHint(self) -> QSize:  # noqa: N802
        return super().minimumSizeHint().expandedTo(QSize(340, 0))

    def may_follow_sheet(self, may: bool) -> None:
        """Whether a printed test board may lie under the camera."""
        if not may:
            self.follow.setCurrentIndex(0)
        self.follow.setVisible(may)

    def show_job(self, job) -> None:
        self.map.show_board(*board_picture(job), job.design.xy_mm)
        self._holes = len(job.design.holes)

    def show_ports(self, ports: list[tuple[str, str]]) -> None:
        """ports: (device, what it says of itself); what was typed stays."""
        typed = self.port.currentText()
        self.port.clear()
        for device, words in ports:
            self.port.addItem(device)
            self.port.setItemData(self.port.count() - 1, words, Qt.ItemDataRole.ToolTipRole)
        if typed:
            self.port.setCurrentText(typed)

    def show_sight(self, sight, *, standing: bool) -> None:
        """sight: a `TableSight`; standing: homed, so that it can be jogged"""
        view, working = sight.view, sight.working
        self.before.setVisible(not working)
        for made, _, _ in self.arrows:
            made.setEnabled(standing)
        hole = None if view is None else view.hole
        self.hole.setText("" if hole is None else tr("Hole {n}", n=hole))
        size = None if view is None or not working else view.bit_mm
        self.bit.setText("" if size is None else tr("bit {bit}", bit=bit(size)))
        self.sentence.setText("" if view is None else view.message)
        for part in (self.hole, self.bit, self.sentence):
            part.setVisible(working or bool(self.sentence.text()))
        tally = sight.progress.tally()
        self.progress.setMaximum(max(1, tally.holes))
        self.progress.setValue(tally.done)
        text = tr("{n} left of {all}", n=tally.left, all=tally.holes)
        if tally.skipped:
            text += ", " + tr("{n} put aside", n=tally.skipped)
        self.counts.setText(text)
        if sight.runs is not None:
            done, runs = sight.runs
            self.progress.setMaximum(runs)
            self.progress.setValue(done)
            self.counts.setText(tr("Measuring the table: {n} of {all} runs", n=done, all=runs))
        self.map.show_states(states_of(sight.progress, self._holes, hole if working else None))
        if sight.scene is not None and sight.scene.turn_rad is not None:
            self.map.show_turn(sight.scene.turn_rad)
        x_y = sight.xy_mm
        self.place.setText(tr("Not connected") if x_y is None
                           else tr("Table at {x}, {y}", x=mm(x_y[0]), y=mm(x_y[1])))  # fmt: skip


def _row(*parts) -> QHBoxLayout:
    made = QHBoxLayout()
    for part, stretch in parts:
        made.addWidget(part, stretch)
    return made


def _button(text: str, signal) -> QPushButton:
    made = QPushButton(text)
    made.clicked.connect(lambda: signal.emit())
    return made
