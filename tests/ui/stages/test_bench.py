from __future__ import annotations

import numpy as np
import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QPushButton, QWidget

from drillaid.errors import CameraError
from drillaid.guidance.spindle_mark import pointed_at
from drillaid.rig.file import save_rig
from drillaid.rig.frame import Frame
from drillaid.rig.reader import NewestFrame
from drillaid.simulation.rigs import nominal_rig
from ui.job import PRACTICE, Bench
from ui.running.workshop import Workshop


class Live:
    """A camera that works, 64 x 48."""

    name, live = "camera 0", True

    def __init__(self):
        self.closed, self.number = False, 0

    def read(self, timeout_s):
        self.number += 1
        rng = np.random.default_rng(self.number)
        return Frame(rng.integers(90, 110, (48, 64, 3), np.uint8), self.number, self.number / 30)

    def close(self):
        self.closed = True


@pytest.fixture
def stage(window, qtbot):
    """On the bench's stage, in a small workshop."""
    made = window.stages["bench"]
    made.rig.workshop = Workshop(3, (640, 360))
    made.pages["home"].find = lambda: None
    window.go("bench")
    yield made
    window.go("design")


@pytest.fixture
def cameras(monkeypatch):
    """What `open_camera` finds: source -> camera."""
    there: dict = {}

    def opened(source, **options):
        if source not in there:
            raise CameraError(f"camera {source}: there is no device; plug the camera in.")
        return there[source]

    monkeypatch.setattr("ui.stages.bench.open_camera", opened)
    return there


@pytest.fixture
def rig_file(tmp_path):
    path = tmp_path / "mine.toml"
    save_rig(nominal_rig(64, 48, 1.8), path)
    return str(path)


def test_the_picture_is_live_before_anything_is_chosen(qtbot, stage):
    qtbot.waitUntil(lambda: stage.picture._look is not None
                    and stage.picture._look.image is not None, timeout=20_000)  # fmt: skip
    assert stage.go.isEnabled() and stage.job.bench is None


def test_a_camera_that_is_not_there_says_so_over_the_picture(qtbot, stage, cameras):
    stage.pages["home"].source_chosen.emit("7")
    qtbot.waitUntil(lambda: "plug the camera in" in stage.picture.over, timeout=10_000)
    assert not stage.go.isEnabled()


def test_the_open_camera_goes_on_into_the_job(qtbot, window, stage, cameras, rig_file):
    cameras["0"] = Live()
    stage.pages["home"].source_chosen.emit("0")
    stage.rig.open(rig_file)
    qtbot.waitUntil(lambda: stage.page.look is not None and stage.page.look.frame is not None
                    and stage.page.look.size_px == (64, 48), timeout=10_000)  # fmt: skip
    qtbot.keyClick(stage, Qt.Key.Key_Space)
    assert window.at == "design" and window.job.bench.complete
    assert window.job.bench.rig_path == rig_file
    assert isinstance(window.job.camera, NewestFrame) and not cameras["0"].closed
    assert window.job.settings.rig == rig_file  # remembered, and first of the recent ones
    window.go("bench")
    assert window.job.camera is None
    qtbot.waitUntil(lambda: cameras["0"].closed, timeout=5000)  # a device has one user


def test_without_a_rig_a_mark_is_enough(window, stage, cameras):
    cameras["0"] = Live()
    stage.pages["home"].source_chosen.emit("0")
    stage.pages["mark"].marked.emit(pointed_at(20, 30))
    assert window.job.bench.complete and window.job.bench.mark is not None


def test_what_is_written_is_what_guides_from_then_on(qtbot, window, stage, cameras, rig_file):
    cameras["0"] = Live()
    stage.pages["home"].source_chosen.emit("0")
    stage.rig.open(rig_file)
    before = stage.rig.rig()
    window.job.set_bench(Bench("0", before, rig_file))
    bench = {"rotation_vector": before.rotation_vector, "translation_mm": before.translation_mm}
    with qtbot.waitSignal(stage.rig.written, timeout=5000):
        stage.rig.save(stage.rig.draft.with_section("spindle", {"axis_mm": [3.0, 4.0]}))
    assert window.job.bench.rig.axis_mm == pytest.approx([3.0, 4.0])
    draft = stage.rig.draft.with_section("bench", {**bench, "frame": "a"})
    draft = draft.with_section("spindle", {"frame": "b"})
    with qtbot.waitSignal(stage.rig.written, timeout=5000):
        stage.rig.save(draft)
    assert not window.job.bench.complete  # the axis was measured in another frame


def test_a_knock_leads_to_the_repair_and_back(qtbot, window, stage):
    window.go("design")
    window.job.repair_wanted = True
    window.go("bench")
    assert stage.page.name == "repair"
    qtbot.keyClick(stage, Qt.Key.Key_Escape)
    assert stage.page.name == "home" and not window.job.repair_wanted


def test_every_page_can_be_gone_to_and_left_by_keys(qtbot, stage):
    assert stage.job.settings.camera == PRACTICE
    for name in stage.pages:
        stage.show_page(name)
        assert stage.page.name == name and stage.page.title
        for button in stage.page.findChildren(type(stage.go)):
            assert button.focusPolicy() & Qt.FocusPolicy.TabFocus
        qtbot.keyClick(stage, Qt.Key.Key_Escape)
        assert stage.page.name == "home"


@pytest.mark.parametrize("scale", [1.0, 1.8])
def test_all_pages_fit_on_a_small_screen(qtbot, window, stage, scale):
    window.job.remember(type_scale=scale)
    room = 1366 - 20 - window.way.minimumSizeHint().width()
    for name in stage.pages:
        stage.show_page(name)
        assert stage.minimumSizeHint().width() <= room, name
        assert stage.minimumSizeHint().height() <= 768 - 100, name
        qtbot.wait(20)
        for button in filter(QWidget.isVisible, stage.page.findChildren(QPushButton)):
            assert button.width() >= button.minimumSizeHint().width(), (name, button.text())
