"""The bench plane: the sheet lies on the bench, one picture; or the marks alone after a knock."""

from __future__ import annotations

from PyQt6.QtWidgets import QCheckBox, QComboBox, QFormLayout

from calibration.bench_job import BenchJob, make_bench
from calibration.corners import grey_of
from calibration.glance import Glance, glance
from calibration.rig_standing import DONE, standing_of
from drillaid.errors import DrillaidError
from drillaid.rig.pictures import check_size
from drillaid.rig.still_true import RigWatch, Verdict
from ui.calibrating.page import Figure, Page, button, label, lead, millimetres
from ui.picture.live_picture import Overlay
from ui.running.looking import Look
from ui.running.workshop import BARE, SHEET_LYING
from ui.words import mm, number, tr

_SHORT = QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
EYE_EVERY = 3  # pictures
LOOK_S = 0.5


class PlanePage(Page):
    """One picture of the lying sheet gives the plane; the marks in view are stored with it."""

    name = "plane"
    title = tr("The bench plane")
    scene = SHEET_LYING
    fresh: QCheckBox | None = None

    def build(self) -> None:
        self.sheet = label("", "quiet")
        self.figure = Figure()
        self.state = label("", "title")
        self.take = button(tr("Take the picture"), self.shoot, go=True)
        self.write = button(tr("Write to the rig file"), self._write, go=True)
        self.add(label(self.what_to_do()), self.state)
        self.fields()
        self.add(self.figure, self.words, self.sheet)
        self.keys(self.take)
        self.keys(self.back_key(), self.write)
        self.job: BenchJob | None = None

    def what_to_do(self) -> str:
        return tr("Switch the drill off. Lay the sheet flat on the bench, its upper edge away "
                  "from you, so that it fills the picture and leaves the marks free. Hands "
                  "away.")  # fmt: skip

    def fields(self) -> None:
        """What has to be told beside the picture."""
        self.thick = millimetres(0.0, 100.0)
        self.side = QComboBox()
        self.side.setSizeAdjustPolicy(_SHORT)
        self.side.setMinimumContentsLength(10)
        for words, value in (
            (tr("as the sheet lies"), None), (tr("its lower edge"), "bottom"),
            (tr("its upper edge"), "top"), (tr("its left edge"), "left"),
            (tr("its right edge"), "right"),
        ):  # fmt: skip
            self.side.addItem(words, value)
        form = QFormLayout()
        form.setRowWrapPolicy(QFormLayout.RowWrapPolicy.WrapLongRows)
        form.addRow(tr("Sheet and its backing"), self.thick)
        form.addRow(tr("You stand at"), self.side)
        self.fresh = QCheckBox(tr("A new frame, spindle anew"))
        self.fresh.setToolTip(tr("Does not keep the frame of the stored marks"))
        self.add(form, self.fresh)

    def enter(self) -> None:
        self.sheet.setText(self.rig.sheet_words())
        self.state.setVisible(False)
        self.job = None
        self.figure.setText("")
        draft = self.rig.draft
        if self.fresh is not None:
            self.fresh.setVisible(draft is not None and draft.holds("marks"))
        ready = draft is not None and standing_of(draft)[0].state == DONE
        self.say("" if ready else tr("The lens comes first: it is not in the rig file yet."))
        self.settle()

    def eye(self):
        pattern = self.rig.pattern()
        last: list[Glance | None] = [None]

        def look(frame) -> Glance | None:
            if frame.number % EYE_EVERY == 0:
                last[0] = glance(grey_of(frame.image), pattern)
            return last[0]

        return look

    def overlay(self) -> Overlay:
        seen = None if self.look is None else self.look.judged
        return Overlay(points=seen.px if isinstance(seen, Glance) else None)

    def shoot(self) -> None:
        """One picture, worked out beside the window."""
        image, draft = self.picture(), self.rig.draft
        if image is None:
            return
        if draft is None:
            self.say(tr("There is no rig file: choose one in the overview first."))
            return
        pattern, options = self.rig.pattern(), self._options()

        def work() -> BenchJob:
            lens = draft.camera()
            check_size(lens.rig([0, 0, 0], [0, 0, 1]), image)
            return make_bench(draft, [(tr("The picture"), image)], pattern, **options)

        self.job = None
        self.figure.setText("")
        self.start(work, tr("Working out where the bench is …"))

    def _options(self) -> dict:
        return {
            "sheet_mm": self.thick.value(), "operator_at": self.side.currentData(),
            "new_frame": self.fresh.isChecked(), "scale_share": self.rig.scale_share,
        }  # fmt: skip

    def finished(self, job: BenchJob) -> None:
        self.job = job
        lines = []
        if job.draft is not None:
            self.figure.setText(f"± {mm(float(job.plane.sigma_mm.max()), 3)}")
            flat = job.plane.flatness
            lines.append(tr("Residual {r} px", r=number(job.plane.fit.rms_px, 2)))
            if flat is not None:
                lines[0] += tr(", the sheet is flat to {b}", b=mm(abs(flat.bow_mm), 2))
            lines[0] += "."
        self.say("\n".join([*lines, job.message]))

    def _write(self) -> None:
        self.rig.save(self.job.draft)

    def press(self) -> None:
        (self.write if self.write.isEnabled() else self.take).click()

    def settle(self) -> None:
        draft = self.rig.draft
        self.take.setEnabled(draft is not None and "camera" in draft.data and not self.running)
        good = self.job is not None and self.job.draft is not None
        self.write.setEnabled(good)
        lead(self.take, not good)


class RepairPage(PlanePage):
    """After a knock: the stored marks say where the camera is now; the spindle axis is kept."""

    name = "repair"
    title = tr("Repair after a knock")
    scene = BARE

    def build(self) -> None:
        super().build()
        self.knock = button(tr("Knock it (practice)"), self._knock)
        self.add(self.knock)
        self.sheet.hide()

    def what_to_do(self) -> str:
        return tr("Switch the drill off. Either put the arm back until the rig is true, or clear "
                  "the marks and take one picture: the spindle axis, the board and what was "
                  "drilled are kept.")  # fmt: skip

    def fields(self) -> None:
        """The marks need none."""

    def enter(self) -> None:
        super().enter()
        self.state.setVisible(True)
        self.knock.setVisible(self.rig.practising)
        self.state.setText(tr("Looking at the marks …"))
        if self.rig.draft is None or not self.rig.draft.holds("marks"):
            self.state.setText(tr("The rig file holds no marks."))
            self.say(tr("Calibrate the bench plane with the marks in view, then the spindle."))

    def eye(self):
        rig = self.rig.rig()
        try:
            watch = None if rig is None else RigWatch.of(rig)
        except DrillaidError:
            watch = None
        if watch is None:
            return None
        last: list = [None, -LOOK_S]

        def look(frame) -> Verdict:
            if frame.time_s - last[1] >= LOOK_S or frame.time_s < last[1]:
                last[:] = [watch.judge_now(frame.image), frame.time_s]
            return last[0]

        return look

    def overlay(self) -> Overlay:
        return Overlay()

    def show_look(self, look: Look) -> None:
        super().show_look(look)
        if isinstance(look.judged, Verdict) and self.job is None and not self.running:
            self.state.setText(verdict_words(look.judged))
            self.say(look.judged.message)

    def _options(self) -> dict:
        return {"scale_share": self.rig.scale_share}

    def finished(self, job: BenchJob) -> None:
        super().finished(job)
        done = job.draft is not None
        self.state.setText(tr("Ready to be written.") if done else tr("Not repaired."))

    def _knock(self) -> None:
        self.rig.workshop.knock()
        self.job = None
        self.settle()


def verdict_words(verdict: Verdict) -> str:
    """Short, for the heading; the verdict's own message says the rest."""
    return {
        "true": tr("The rig is true."),
        "moved": tr("The camera has moved."),
        "mark_moved": tr("A mark has moved."),
        "not_judged": tr("The marks are not seen."),
    }[verdict.state]
