from __future__ import annotations

import numpy as np
import pytest
from PyQt6.QtGui import QImage

from drillaid.errors import CameraError, CameraLost, PictureError
from drillaid.rig.frame import Frame
from ui.running.looking import FAILED, SEEING, LookingThread, fitted, light_trouble


class Source:
    """Grey pictures one after the other; a live one fails while `gone`."""

    def __init__(self, level: int = 128, *, live: bool = False, size=(64, 48)):
        self.name, self.live, self.level, self.size = "a source", live, level, size
        self.number, self.closed, self.gone = 0, False, False
        self.settings = {"focus_auto": {"asked": 0, "got": 1, "kept": False}}

    def read(self, timeout_s):
        if self.gone:
            raise CameraLost("the camera is gone; plug it in again.")
        self.number += 1
        rng = np.random.default_rng(self.number)  # no sensor gives the same noise twice
        image = rng.integers(-2, 3, (self.size[1], self.size[0], 3)) + self.level
        return Frame(image.astype(np.uint8), self.number, self.number / 30)

    def reopen(self):
        if self.gone:
            raise CameraLost("the camera is gone; plug it in again.")

    def close(self):
        self.closed = True


@pytest.fixture
def looking(qtbot):
    made = []

    def start(open_it, eye=None) -> LookingThread:
        made.append(LookingThread(open_it, lambda: (40, 40), 0.005))
        made[-1].set_eye(eye)
        made[-1].start()
        return made[-1]

    yield start
    for thread in made:
        thread.close()
        assert thread.wait(0.0)


def test_pictures_come_small_and_with_what_the_camera_said(qtbot, looking):
    source = Source()
    thread = looking(lambda: source)
    qtbot.waitUntil(lambda: thread.take().image is not None, timeout=5000)
    look = thread.take()
    assert look.state == SEEING and not look.trouble
    assert look.size_px == (64, 48)
    assert isinstance(look.image, QImage) and look.image.width() == 40
    assert look.settings["focus_auto"]["kept"] is False
    thread.close()
    assert source.closed


def test_the_eye_judges_each_picture_and_its_refusal_is_a_sentence(qtbot, looking):
    thread = looking(Source, eye=lambda frame: frame.number)
    qtbot.waitUntil(lambda: (thread.take().judged or 0) > 2, timeout=5000)

    def refuse(frame):
        raise PictureError("is of another size", remedy="use one size")

    thread.set_eye(refuse)
    qtbot.waitUntil(lambda: "another size" in thread.take().trouble, timeout=5000)


def test_a_camera_that_is_not_there_is_said_at_once(qtbot, looking):
    def nothing():
        raise CameraError("camera 3: there is no device; plug the camera in.")

    thread = looking(nothing)
    qtbot.waitUntil(lambda: thread.take().state == FAILED, timeout=5000)
    assert "plug the camera in" in thread.take().trouble


def test_a_camera_unplugged_says_so_and_comes_back(qtbot, looking):
    source = Source(live=True)
    thread = looking(lambda: source)
    qtbot.waitUntil(lambda: thread.take().frame is not None, timeout=5000)
    source.gone = True
    qtbot.waitUntil(lambda: "gone" in thread.take().trouble, timeout=5000)
    assert thread.take().frame is None  # no picture of a past that is over is worked with
    source.gone = False
    qtbot.waitUntil(lambda: not thread.take().trouble, timeout=5000)


def test_an_open_camera_can_be_handed_over(qtbot, looking):
    source = Source(live=True)
    thread = looking(lambda: source)
    qtbot.waitUntil(lambda: thread.take().frame is not None, timeout=5000)
    camera = thread.close(keep=True)
    assert not source.closed and camera.read(2.0) is not None
    camera.close()
    assert source.closed


@pytest.mark.parametrize(("level", "word"), [(20, "dark"), (128, ""), (255, "burnt out")])
def test_the_light_is_judged(level, word):
    told = light_trouble(np.full((48, 64, 3), level, np.uint8))
    assert (word in told) if word else told == ""


def test_a_picture_is_never_enlarged():
    assert fitted(np.zeros((48, 64, 3), np.uint8), (640, 480)).shape == (48, 64, 3)
    assert fitted(np.zeros((48, 64, 3), np.uint8), (32, 480)).shape == (24, 32, 3)
