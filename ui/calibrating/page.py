"""What every page has: a title, words, a column of controls, and its keys at the foot."""

from __future__ import annotations

from PyQt6.QtCore import Qt, pyqtSignal
from PyQt6.QtWidgets import (
    QDoubleSpinBox,
    QFrame,
    QLabel,
    QLayout,
    QPushButton,
    QVBoxLayout,
)

from ui.calibrating.button_row import ButtonRow
from ui.calibrating.plain import plain
from ui.calibrating.rig_work import RigWork
from ui.picture.live_picture import Overlay
from ui.running.background import Background
from ui.running.looking import Look
from ui.running.workshop import BARE
from ui.stages.tall_scroll import TallScroll
from ui.words import tr


class Page(QFrame):
    """name, scene: what the simulated workshop shows for it

    gone_to(name): another page is wanted; lay(): the workshop's scene has changed
    eye(frame) of the thread is asked for by `eye`; slow work goes to `work`, whose result
    comes to `finished`.
    """

    name = ""
    title = ""
    scene = BARE
    gone_to = pyqtSignal(str)
    lay = pyqtSignal()
    eye_changed = pyqtSignal()
    told = pyqtSignal(str)

    def __init__(self, rig: RigWork) -> None:
        super().__init__()
        self.rig = rig
        self.look: Look | None = None
        self.running = False  # slow work whose result is awaited
        self.setObjectName("panel")
        self.work = Background(self)
        self.work.done.connect(self._finished)
        self.work.failed.connect(self._failed)
        title = QLabel(self.title)
        title.setObjectName("title")
        title.setWordWrap(True)
        self.scroll = TallScroll()
        self.column = self.scroll.column
        self.column.setContentsMargins(0, 0, 8, 0)
        self.words = label()
        self.words.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        outer = QVBoxLayout(self)
        outer.addWidget(title)
        outer.addWidget(self.scroll, 1)
        self.foot = QVBoxLayout()
        outer.addLayout(self.foot)
        self.build()
        self.column.addStretch(1)

    def build(self) -> None:
        """Fills `column` and `foot`."""

    def add(self, *parts) -> None:
        for part in parts:
            if isinstance(part, QLayout):
                self.column.addLayout(part)
            else:
                self.column.addWidget(part)

    def keys(self, *buttons: QPushButton) -> None:
        """A row at the foot; its buttons share the width."""
        self.foot.addWidget(ButtonRow(*buttons))

    def back_key(self) -> QPushButton:
        return button(tr("Back"), lambda: self.gone_to.emit("home"))

    # -- life ------------------------------------------------------------------------------

    def enter(self) -> None:
        """It is shown, whatever was done before."""

    def leave(self) -> None:
        self.forget()

    def forget(self) -> None:
        """What is being worked out is no longer wanted."""
        self.work.forget()
        self.running = False

    def shut_down(self) -> None:
        """The window closes."""
        self.work.close()

    def show_look(self, look: Look) -> None:
        self.look = look

    def eye(self):
        """frame -> anything, called in the looking thread; None: nothing is looked for."""
        return None

    def overlay(self) -> Overlay:
        return Overlay()

    def press(self) -> None:
        """The space bar or the pedal."""

    def point(self, u: float, v: float) -> None:
        """The person clicked into the picture."""

    def picture(self):
        """The newest photograph, or None with a word about it."""
        frame = None if self.look is None else self.look.frame
        if frame is None:
            self.say(tr("There is no picture yet."))
            return None
        return frame.image

    # -- slow work ----------------------------------------------------------------------------

    def say(self, words: str) -> None:
        self.words.setText(plain(words))
        self.words.setVisible(bool(words))

    def finished(self, result) -> None:
        """What the slow work brought."""

    def settle(self) -> None:
        """Which buttons count now."""

    def start(self, work, words: str) -> None:
        self.say(words)
        self.running = True
        self.work.start(work)
        self.settle()

    def _finished(self, result) -> None:
        self.running = False
        self.finished(result)
        self.settle()

    def _failed(self, sentence: str) -> None:
        self.running = False
        self.say(sentence)
        self.eye_changed.emit()
        self.settle()


class Figure(QLabel):
    """The one figure that counts, large; takes no room while there is none."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("figure")
        self.setWordWrap(True)
        self.hide()

    def setText(self, text: str) -> None:  # noqa: N802
        super().setText(text)
        self.setVisible(bool(text))


def label(text: str = "", name: str = "") -> QLabel:
    """Words that wrap."""
    made = QLabel(text)
    made.setWordWrap(True)
    made.setObjectName(name)
    return made


def lead(made: QPushButton, on: bool) -> None:
    """Whether this is the one button that leads on now."""
    name = "go" if on else ""
    if made.objectName() != name:
        made.setObjectName(name)
        made.style().unpolish(made)
        made.style().polish(made)


def caution(text: str) -> QLabel:
    """Where a drill is used; text: without markup"""
    made = label(f"<b>{tr('WARNING')}</b>: {text}")
    made.setTextFormat(Qt.TextFormat.RichText)
    return made


def millimetres(low: float, high: float, step: float = 0.1) -> QDoubleSpinBox:
    """A length that is typed; the arrow keys step it."""
    made = QDoubleSpinBox()
    made.setRange(low, high)
    made.setDecimals(2)
    made.setSingleStep(step)
    made.setSuffix(" mm")
    made.setKeyboardTracking(False)
    made.setButtonSymbols(QDoubleSpinBox.ButtonSymbols.NoButtons)
    return made


def button(text: str, slot, *, go: bool = False) -> QPushButton:
    """go: the one that leads on"""
    made = QPushButton(text)
    made.clicked.connect(lambda _=False: slot())
    made.setAutoDefault(True)  # Enter presses it as well
    if go:
        made.setObjectName("go")
    return made
