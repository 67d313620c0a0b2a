"""The spindle axis: fresh holes in clamped scrap, one picture each."""

from __future__ import annotations

import numpy as np
from PyQt6.QtWidgets import QCheckBox, QFormLayout

from calibration.rig_draft import RigDraft
from calibration.spindle_axis import FEW, THICKNESS_MM
from calibration.spindle_job import SpindleJob, with_rig
from drillaid.commands.calibrate.spindle import CAUTION
from drillaid.rig.pictures import check_size
from ui.calibrating.page import Figure, Page, button, caution, label, lead, millimetres
from ui.calibrating.scatter import Scatter
from ui.picture.live_picture import Overlay
from ui.running.workshop import SCRAP
from ui.words import mm, tr

ASKED = 6


class SpindlePage(Page):
    """Each picture adds its hole; what cannot be told apart is asked by a click."""

    name = "spindle"
    title = tr("The spindle axis")
    scene = SCRAP

    def build(self) -> None:
        self.caution = caution(CAUTION)
        self.count = Figure()
        self.thickness = millimetres(*THICKNESS_MM)
        self.thickness.setValue(self.rig.job.settings.thickness_mm)
        self.thickness.valueChanged.connect(lambda _: self.rig.practising and self.lay.emit())
        form = QFormLayout()
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        form.addRow(tr("This scrap's thickness"), self.thickness)
        self.keep = QCheckBox(tr("Keep the file's holes"))
        self.keep.setToolTip(tr("Those measured before count as well"))
        self.scatter = Scatter(self.rig.colours)
        self.drill = button(tr("Drill fresh scrap (practice)"), self._drill)
        self.take = button(tr("Take this hole"), lambda: self.shoot(None), go=True)
        self.undo = button(tr("Take back"), self._take_back)
        self.write = button(tr("Write to the rig file"), self._write, go=True)
        self.add(
            label(tr("Clamp scrap, drill one hole, let the spindle stop, lift the bit so that the "
                     "hole is seen; leave the scrap clamped and take its picture. Then fresh "
                     "scrap, or another place of it. Scrap of a second thickness tells the "
                     "lean.")),
            self.caution, form, self.keep, self.drill, self.count, self.scatter, self.words,
        )  # fmt: skip
        self.keys(self.take, self.undo)
        self.keys(self.back_key(), self.write)
        self._jobs: list[SpindleJob] = []
        self._rings: list = []
        self._unsure = False
        self._number = 0

    # -- life ------------------------------------------------------------------------------

    def enter(self) -> None:
        self._jobs, self._rings, self._unsure, self._number = [], [], False, 0
        self.drill.setVisible(self.rig.practising)
        draft = self.rig.draft
        self.keep.setVisible(draft is not None and draft.holds("spindle"))
        ready = draft is not None and draft.has_bench
        self.say("" if ready else tr("The lens and the bench plane come first."))
        self._show()

    def _draft(self) -> RigDraft:
        """What the next hole is added to."""
        return self._jobs[-1].draft if self._jobs else self.rig.draft

    # -- one hole after the other --------------------------------------------------------------

    def shoot(self, near_px) -> None:
        """near_px: about where the hole is, or None to look for it."""
        image = self.picture()
        if image is None or self.rig.draft is None:
            return
        draft, thickness = self._draft(), self.thickness.value()
        if near_px is None:
            near_px = self._expected(thickness)
        anew = not self._jobs and not self.keep.isChecked()
        name = tr("hole {n}", n=self._number + 1)

        def work() -> SpindleJob:
            check_size(draft.rig(), image)
            return with_rig(draft, [(name, thickness, image)], near_px, anew=anew)

        self._unsure = False
        self.start(work, tr("Looking for the hole …"))

    def _expected(self, thickness_mm: float):
        """Where the holes so far say that this one is; None before the first."""
        if not self._jobs:
            return None
        rig = self._draft().rig()
        return rig.to_pixels([rig.spindle_mm(thickness_mm)], thickness_mm)[0]

    def finished(self, job: SpindleJob) -> None:
        if not job.done:
            self._unsure = True
            self._show()
            self.say(job.message)
            return
        self._number += 1
        self._jobs.append(job)
        self._show()
        self.say(job.message)

    def point(self, u: float, v: float) -> None:
        if self._unsure and not self.running:
            self.shoot(np.array([u, v]))

    def _take_back(self) -> None:
        if self._jobs:
            self._jobs.pop()
        self._show()
        self.say(self._jobs[-1].message if self._jobs else "")

    def _drill(self) -> None:
        self.rig.workshop.drill_scrap()
        self._rings = []
        self.lay.emit()

    def _data(self) -> dict:
        return self._jobs[-1].data if self._jobs else {}

    def _asked(self) -> int:
        """As many holes as it takes: a bit that wanders much needs more of them."""
        data = self._data()
        count = len(data.get("holes", []))
        return max(ASKED, count + data.get("more_holes", 0)) if count >= FEW else ASKED

    def _show(self) -> None:
        data = self._data()
        holes = data.get("holes", [])
        asked = self._asked()
        self.count.setText(tr("{n} of {k} holes", n=len(holes), k=asked))
        self.scatter.setVisible(bool(holes))
        self._rings = []
        if holes:
            axis, lean = np.asarray(data["axis_mm"]), np.asarray(data["lean"])
            offsets = [np.asarray(h["at_mm"]) - axis - lean * h["thickness_mm"] for h in holes]
            self.scatter.show_holes(offsets, [h["used"] for h in holes], data["sigma_mm"])
            self.count.setText(tr("{n} of {k}, ± {s}", n=len(holes), k=asked,
                                  s=mm(data["sigma_mm"], 3)))  # fmt: skip
            last, rig = holes[-1], self._draft().rig()
            self._rings = rig.to_pixels([last["at_mm"]], last["thickness_mm"])
        self.settle()

    def overlay(self) -> Overlay:
        return Overlay(rings=self._rings if len(self._rings) else None, pointing=self._unsure)

    def _write(self) -> None:
        self.rig.save(self._jobs[-1].draft)

    def press(self) -> None:
        if self.take.isEnabled():
            self.shoot(None)

    def settle(self) -> None:
        draft = self.rig.draft
        self.take.setEnabled(draft is not None and draft.has_bench and not self.running)
        self.undo.setEnabled(bool(self._jobs) and not self.running)
        self.write.setEnabled(bool(self._jobs) and not self.running)
        lead(self.take, len(self._data().get("holes", [])) < self._asked())
