"""The overview: which camera, which rig file, and how far that rig has come."""

from __future__ import annotations

import threading
from pathlib import Path

from PyQt6.QtCore import pyqtSignal
from PyQt6.QtWidgets import QComboBox, QFileDialog

from calibration.rig_standing import PARTS, standing_of
from drillaid.errors import RigError
from drillaid.rig.pictures import check_size
from drillaid.rig.probing import OPEN_S, READ_S, find_cameras
from drillaid.rig.sources import without_secrets
from ui.calibrating.button_row import ButtonRow
from ui.calibrating.page import Page, button, label
from ui.calibrating.part_row import PartRow
from ui.calibrating.plain import plain
from ui.job import PRACTICE
from ui.running.background import Background
from ui.running.looking import OPENING, Look
from ui.words import tr

PAGE_OF = {"camera": "lens", "bench": "plane", "spindle": "spindle", "marks": "plane"}
_SHORT = QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon


class HomePage(Page):
    """source_chosen(source): look through this camera; used(): guide with what was chosen"""

    name = "home"
    title = tr("Camera and bench")
    source_chosen = pyqtSignal(str)
    used = pyqtSignal()

    def build(self) -> None:
        self.camera = QComboBox()
        self.camera.setEditable(True)
        self.camera.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        self.camera.setSizeAdjustPolicy(_SHORT)
        self.camera.setMinimumContentsLength(12)
        self.camera.setAccessibleName(tr("Camera"))
        self.camera.setToolTip(tr("Choose one, or type the address of a stream and press Enter"))
        self.camera.addItem(tr("Simulated workshop, to practise"), PRACTICE)
        self.camera.activated.connect(lambda _: self._choose())
        self.camera.lineEdit().returnPressed.connect(self._choose)
        self.search = button(tr("Search again"), self.find)
        self.file = button(tr("File …"), self._file)
        self.folder = button(tr("Folder …"), self._folder)
        row = ButtonRow(self.search, self.file, self.folder)
        self.state = label("", "quiet")
        self.rigs = QComboBox()
        self.rigs.setSizeAdjustPolicy(_SHORT)
        self.rigs.setMinimumContentsLength(12)
        self.rigs.setAccessibleName(tr("Rig file"))
        self.rigs.activated.connect(lambda _: self.rig.open(self.rigs.currentData()))
        self.open_rig = button(tr("Open …"), self._open)
        self.new_rig = button(tr("New …"), self._new)
        rig_row = ButtonRow(self.open_rig, self.new_rig)
        self.rows = {name: PartRow(self.rig.colours, name) for name in PARTS}
        for name, part_row in self.rows.items():
            part_row.clicked.connect(lambda _=False, n=name: self._go(PAGE_OF[n]))
        self.no_rig = button(tr("I have no rig file"), lambda: self.gone_to.emit("mark"))
        self.print = button(tr("Print the sheets"), lambda: self.gone_to.emit("sheet"))
        self.repair = button(tr("After a knock"), lambda: self._go("repair"))
        self.table = button(tr("XY table"), lambda: self._go("table"))
        more = ButtonRow(self.print, self.table, self.repair)
        about = label(tr("Rig file of this camera and drill"), "quiet")
        self.add(self.camera, row, self.state, about, self.rigs, rig_row, self.words)
        self.add(*self.rows.values(), more, self.no_rig)
        self.go = button(tr("Use this bench"), self.used.emit, go=True)
        self.why = label("", "quiet")
        self.foot.addWidget(self.why)
        self.keys(self.go)
        self._stop = threading.Event()
        self._search = Background(self)
        self._search.done.connect(self._found)
        self._search.failed.connect(self.say)
        self.rig.changed.connect(self._show_rig)
        self._searched = False

    # -- life ------------------------------------------------------------------------------

    def enter(self) -> None:
        self._show_source()
        self._show_rigs()
        self._show_rig()
        if not self._searched:
            self.find()

    def shut_down(self) -> None:
        self._stop.set()
        self._search.close()
        super().shut_down()

    def show_look(self, look: Look) -> None:
        super().show_look(look)
        self.state.setText(self._camera_words(look))
        self.settle()

    def press(self) -> None:
        self.go.click()

    # -- the camera --------------------------------------------------------------------------

    def find(self) -> None:
        """Looks beside the window which cameras are plugged in; the one in use is left alone."""
        self._searched = True
        self._stop = stop = threading.Event()
        self.search.setEnabled(False)
        self.search.setText(tr("Searching …"))
        busy = self.rig.source
        self._search.start(lambda: find_cameras(busy=busy, stop=stop))

    def wait_for_search(self) -> None:
        """Called in the looking thread before it opens a camera: a device has one user."""
        self._stop.set()
        self._search.wait(OPEN_S + READ_S)

    def _found(self, cameras) -> None:
        self.search.setEnabled(True)
        self.search.setText(tr("Search again"))
        for index in reversed(range(self.camera.count())):
            known = self.camera.itemData(index)
            if known.isdigit() and known != self.rig.source:
                self.camera.removeItem(index)
        for place, camera in enumerate(cameras, start=1):
            if self.camera.findData(camera.source) < 0:
                words = tr("Camera {n}, {w} × {h}", n=camera.source, w=camera.size_px[0],
                           h=camera.size_px[1])  # fmt: skip
                self.camera.insertItem(place, words, camera.source)
        if not cameras and self.rig.practising:
            self.told.emit(
                tr("No camera is plugged in; the simulated workshop is there to practise.")
            )
        self._show_source()

    def _choose(self) -> None:
        index, text = self.camera.currentIndex(), self.camera.currentText().strip()
        same = index >= 0 and text == self.camera.itemText(index)
        self._take(self.camera.itemData(index) if same else text)

    def _take(self, source: str) -> None:
        if source and source != self.rig.source:
            self._stop.set()  # two must not ask the same device
            self.source_chosen.emit(source)
            self._show_source()

    def _show_source(self) -> None:
        source = self.rig.source
        if self.camera.findData(source) < 0:
            self.camera.addItem(source_words(source), source)
        self.camera.setCurrentIndex(self.camera.findData(source))
        self.camera.lineEdit().setCursorPosition(0)

    def _file(self) -> None:
        path, _ = QFileDialog.getOpenFileName(self, tr("A photograph or a video"))
        self._take(path)

    def _folder(self) -> None:
        self._take(QFileDialog.getExistingDirectory(self, tr("A folder of photographs")))

    def _camera_words(self, look: Look) -> str:
        if look.state == OPENING:
            return tr("Opening …")
        if look.size_px is None:
            return look.trouble
        words = tr("{w} × {h} px", w=look.size_px[0], h=look.size_px[1])
        held, loose = [], []
        for key, name in (("focus_auto", tr("focus")), ("exposure_auto", tr("exposure"))):
            if key in look.settings:
                (held if look.settings[key].get("kept") else loose).append(name)
        if held:
            words += "; " + tr("holds {what}", what=tr(" and ").join(held))
        if loose:
            words += "; " + tr("would not hold {what}: switch its automatic off in its own "
                               "settings", what=tr(" and ").join(loose))  # fmt: skip
        return words

    # -- the rig -------------------------------------------------------------------------------

    def _show_rigs(self) -> None:
        self.rigs.clear()
        if self.rig.practising:
            self.rigs.addItem(tr("Practice rig"), str(self.rig.practice_path()))
        else:
            self.rigs.addItem(tr("(none)"), "")
            for path in self.rig.recent():
                self.rigs.addItem(Path(path).name, path)
        path = self.rig.path
        if self.rigs.findData(path) < 0:
            self.rigs.addItem(Path(path).name, path)
        self.rigs.setCurrentIndex(self.rigs.findData(path))
        self.rigs.setToolTip(path)

    def _show_rig(self) -> None:
        self._show_rigs()
        draft = self.rig.draft
        self.say(self.rig.error)
        for row in self.rows.values():
            row.setVisible(draft is not None)
        self.no_rig.setVisible(draft is None and not self.rig.practising)
        # The simulated table comes with its own figures.
        self.table.setVisible(draft is not None and not self.rig.practising)
        self.repair.setVisible(draft is not None and draft.holds("marks"))
        if draft is not None:
            for part in standing_of(draft):
                self.rows[part.name].show_part(part)
        self.settle()

    def _open(self) -> None:
        path, _ = QFileDialog.getOpenFileName(
            self, tr("A rig file"), self.rig.path, tr("Rig files (*.toml);;All files (*)")
        )
        if path:
            self.rig.open(path)

    def _new(self) -> None:
        path, _ = QFileDialog.getSaveFileName(
            self, tr("A new rig file"), "bench.toml", tr("Rig files (*.toml)"),
            options=QFileDialog.Option.DontConfirmOverwrite,
        )  # fmt: skip
        if path:
            self.rig.open(path if path.endswith(".toml") else f"{path}.toml")

    def _go(self, page: str) -> None:
        self.gone_to.emit(page)

    # -- may it be used ------------------------------------------------------------------------

    def why_not(self) -> str:
        """What stands against guiding with this; "" for nothing."""
        if self.rig.practising:
            return ""
        if self.look is not None and self.look.frame is None and self.look.trouble:
            return self.look.trouble
        if self.rig.draft is None:
            return tr("Choose a rig file, make a new one, or go on without: drill one hole in "
                      "scrap.")  # fmt: skip
        rig = self.rig.rig()
        if rig is None or rig.axis_mm is None:
            return tr("The rig is not complete: press the first part that is not done.")
        try:
            if self.look is not None and self.look.frame is not None:
                check_size(rig, self.look.frame)
        except RigError as error:
            return str(error)
        return ""

    def settle(self) -> None:
        why = self.why_not()
        if self.rig.practising:
            self.why.setText(tr("To practise, boards lie on a simulated bench of their own; no "
                                "rig is needed."))  # fmt: skip
        else:
            self.why.setText(plain(why))
        self.go.setEnabled(not why)


def source_words(source: str) -> str:
    """A camera's source as people read it, without passwords."""
    if source.isdigit():
        return tr("Camera {n}", n=source)
    return without_secrets(source) if "://" in source else source
