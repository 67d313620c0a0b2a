"""Without a rig file: one hole in scrap says where the spindle axis is in the picture."""

from __future__ import annotations

import numpy as np
from PyQt6.QtCore import pyqtSignal

from drillaid.commands.calibrate.spindle import CAUTION
from drillaid.guidance.spindle_mark import SpindleMark, mark_in_scrap, pointed_at
from ui.calibrating.page import Figure, Page, button, caution, label, lead
from ui.picture.live_picture import Overlay
from ui.running.workshop import SCRAP
from ui.words import number, tr


class MarkPage(Page):
    """marked(SpindleMark): guide with this"""

    name = "mark"
    title = tr("Without a rig file")
    scene = SCRAP
    marked = pyqtSignal(object)

    def build(self) -> None:
        self.take = button(tr("Look for the hole"), lambda: self.shoot(None), go=True)
        self.use = button(tr("Use this bench"), lambda: self.marked.emit(self.mark), go=True)
        self.figure = Figure()
        self.add(
            label(tr("Clamp a piece of scrap as thick as your boards, drill one hole, let the "
                     "spindle stop and lift the bit. Leave the scrap clamped: where the hole is "
                     "seen, there the bit comes down.")),
            caution(CAUTION),
            label(tr("This holds for boards of that thickness only, and until somebody touches "
                     "the camera. With a rig file the errors are known and smaller.")),
            self.figure, self.words,
        )  # fmt: skip
        self.keys(self.take)
        self.keys(self.back_key(), self.use)
        self.mark: SpindleMark | None = None
        self._near: tuple[float, float] | None = None
        self._asking = False

    def enter(self) -> None:
        self.mark, self._near, self._asking = None, None, False
        self.figure.setText("")
        self.say("")
        self.settle()

    def shoot(self, near_px) -> None:
        """near_px: where the person pointed, or None."""
        image = self.picture()
        if image is None:
            return
        self._near, self.mark = near_px, None
        near = None if near_px is None else np.array(near_px)
        self.start(lambda: mark_in_scrap(image, near), tr("Looking for the hole …"))

    def finished(self, found: SpindleMark | str) -> None:
        self._asking = True  # a wrong hole may be put right by a click at any time
        if isinstance(found, str):
            if self._near is None:
                self.figure.setText(tr("Not found"))
                self.say(f"{_sentence(found)}.")
                return
            self.mark = pointed_at(*self._near)
            self.say(tr("No hole is seen there, so your click itself is taken, to about one "
                        "pixel. A hole that is seen would be surer."))  # fmt: skip
        else:
            self.mark = found
            self.say(tr("Look at the picture: is the ring about your fresh hole? If not, click on "
                        "the right one. The figure says how well it is seen; how far the bit "
                        "wandered as it went in is not part of it."))  # fmt: skip
        sigma = float(np.sqrt(np.trace(self.mark.covariance_px2) / 2))
        self.figure.setText(f"± {tr('{n} px', n=number(sigma, 2))}")

    def point(self, u: float, v: float) -> None:
        if self._asking and not self.running:
            self.shoot((u, v))

    def overlay(self) -> Overlay:
        rings = None if self.mark is None else self.mark.px[None]
        return Overlay(rings=rings, pointing=self._asking)

    def press(self) -> None:
        (self.use if self.use.isEnabled() else self.take).click()

    def settle(self) -> None:
        self.take.setEnabled(not self.running)
        lead(self.take, self.mark is None)
        self.use.setEnabled(self.mark is not None and not self.running)


def _sentence(why: str) -> str:
    return f"{why[:1].upper()}{why[1:]}".rstrip(".")
