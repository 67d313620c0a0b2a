"""Help: the way through a job, the keys, the cautions, and which versions these are."""

from __future__ import annotations

import platform
from html import escape

from PyQt6.QtCore import PYQT_VERSION_STR, QT_VERSION_STR, Qt
from PyQt6.QtWidgets import QLabel

from drillaid import __version__
from drillaid.guidance.cautions import before_work
from ui.app import log_path
from ui.job import JobState
from ui.look.colours import Colours
from ui.pages.page import Page
from ui.stages.tall_scroll import TallScroll
from ui.words import tr

_STEPS = (
    tr("Drop the board's drill list and Gerber files on the window, and read what they say."),
    tr("Say which camera looks at the drill. The simulated bench is one, to practise on."),
    tr("Lay the board in view with your hands away, until it is found."),
    tr("Push the board as the picture shows until the hole lies under the bit; drill; press space "
       "or the pedal."),
    tr("Photograph the drilled board: every hole is measured and a report is filed."),
)  # fmt: skip
_KEYS = (
    (tr("Everywhere"), (
        ("Alt+1 … Alt+5", tr("a step of the job")), ("F1", tr("this help")),
        ("F8", tr("boards done")), ("F9", tr("settings")), ("F10", tr("dark or light")),
        ("F11", tr("the whole screen")), ("Ctrl + / −", tr("size of type")),
        ("Ctrl+O", tr("board files")), ("Tab", tr("to the next control")),
    )),
    (tr("While drilling"), (
        (tr("space, pedal"), tr("what is asked for is done")), ("Z", tr("take the last one back")),
        ("S", tr("put the hole aside")), ("P", tr("pause and go on")), ("M", tr("the beat")),
        ("+ / −", tr("nearer, farther")), (tr("arrows on the map"), tr("choose another hole")),
    )),
    (tr("On the simulated bench"), (
        (tr("drag, arrows"), tr("push the board; with shift a little")),
        (tr("wheel, right drag"), tr("turn it")), ("L", tr("pull the lever")),
    )),
    (tr("After drilling"), (
        ("C", tr("photograph the board")), ("F", tr("a photograph from a file")),
        ("R", tr("open the report")), ("N", tr("the next board of this design")),
    )),
)  # fmt: skip


class HelpPage(Page):
    """One column of text."""

    name = "help"

    def __init__(self, job: JobState, colours: Colours) -> None:
        super().__init__(job, colours, tr("Help"))
        self.words = QLabel()
        self.words.setTextFormat(Qt.TextFormat.RichText)
        self.words.setWordWrap(True)
        self.words.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.scroll = TallScroll()
        self.scroll.column.addWidget(self.words)
        self.scroll.column.addStretch(1)
        self.scroll.setFocusPolicy(Qt.FocusPolicy.StrongFocus)  # the arrow keys scroll it
        self.body.addWidget(self.scroll)
        self._write()

    def enter(self) -> None:
        self.scroll.setFocus()

    def repaint_with(self, colours: Colours) -> None:
        super().repaint_with(colours)
        self._write()

    def _write(self) -> None:
        parts = ["<ol>" + "".join(f"<li>{escape(step)}</li>" for step in _STEPS) + "</ol>"]
        for title, keys in _KEYS:
            rows = "".join(
                f"<tr><td><b>{escape(key)}</b>&nbsp;&nbsp;&nbsp;</td><td>{escape(does)}</td></tr>"
                for key, does in keys
            )
            parts.append(f"<h3>{escape(title)}</h3><table cellpadding='2'>{rows}</table>")
        cautions = "".join(f"<li>{escape(str(caution))}</li>" for caution in before_work())
        parts.append(f"<h3>{tr('Before you drill')}</h3><ul>{cautions}</ul>")
        parts.append(f"<h3>{tr('About')}</h3><p>{escape(_about())}</p>")
        self.words.setText("".join(parts))


def _about() -> str:
    import cv2
    import numpy

    versions = (
        f"drillaid {__version__}, Python {platform.python_version()}, Qt {QT_VERSION_STR}, PyQt "
        f"{PYQT_VERSION_STR}, OpenCV {cv2.__version__}, numpy {numpy.__version__}."
    )
    free = tr("Free software under the GNU General Public License, version 3 or later; it comes "
              "without any warranty.")  # fmt: skip
    return f"{versions} {free} " + tr("Faults are written down in {path}.", path=log_path())
