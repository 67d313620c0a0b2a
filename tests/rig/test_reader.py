"""The reader thread: newest only, states, reopening, and no thread left behind."""

from __future__ import annotations

import itertools
import threading

import numpy as np
import pytest
from support.captures import FakeCapture

from drillaid.errors import CameraError, CameraLost, CameraTimeout, PictureError
from drillaid.rig.capture import CaptureCamera
from drillaid.rig.frame import Frame
from drillaid.rig.reader import NewestFrame


@pytest.fixture(autouse=True)
def no_thread_stays():
    before = set(threading.enumerate())
    yield
    assert not [t.name for t in set(threading.enumerate()) - before if t.is_alive()]


class Script:
    """A camera that plays a list: an image, an exception, None, or a callable giving one."""

    name = "scripted"

    def __init__(self, *acts, live=True, reopen=None):
        self.acts, self.live = iter(acts), live
        self.count = itertools.count()
        self.closed = threading.Event()
        if reopen is not None:
            self.reopen = reopen

    def read(self, timeout_s=2.0):
        act = next(self.acts, CameraTimeout("scripted: nothing more."))
        act = act() if callable(act) else act
        if isinstance(act, CameraTimeout):
            self.closed.wait(min(timeout_s, 0.005))
        if isinstance(act, Exception):
            raise act
        return None if act is None else Frame(act, next(self.count), 0.0)

    def close(self):
        self.closed.set()


def picture(value: int) -> np.ndarray:
    return np.full((48, 64, 3), value, np.uint8)


def test_a_live_camera_is_read_ahead_and_only_the_newest_kept():
    done = threading.Event()

    def last():
        done.set()
        return CameraTimeout("scripted: nothing more.")

    with NewestFrame(Script(*map(picture, range(10)), last), waiting_after_s=60) as reader:
        assert done.wait(5)
        frame = reader.read()
        assert frame.number == 9 and reader.dropped == 9 and reader.state == "live"
        with pytest.raises(CameraTimeout):
            reader.read(0.02)


def test_a_recording_waits_for_its_reader_so_none_is_missed():
    acts = [*map(picture, range(5)), PictureError("bad", remedy="copy it again"), picture(6), None]
    with NewestFrame(Script(*acts, live=False)) as reader:
        assert [reader.read().number for _ in range(5)] == [0, 1, 2, 3, 4]
        with pytest.raises(PictureError, match="copy it again"):
            reader.read()
        assert reader.read().number == 5
        assert reader.read() is None and reader.read() is None
        assert reader.state == "ended" and reader.dropped == 0


def test_the_same_picture_again_and_again_is_withheld():
    clock = itertools.count(0.0, 0.4).__next__
    seen = []
    moving = threading.Event()
    acts = [picture(1), *[picture(2)] * 8, lambda: moving.wait(5) and picture(3)]
    with NewestFrame(Script(*acts), clock=clock, waiting_after_s=1e9, lost_after_s=1e9,
                     on_state=lambda state, message: seen.append(state)) as reader:  # fmt: skip
        assert reader.wait_for_state("frozen")
        with pytest.raises(CameraTimeout, match="frozen; do not drill"):
            reader.read(0.02)
        moving.set()
        assert reader.read().image[0, 0, 0] == 3
    assert seen == ["live", "frozen", "live"]


def test_two_equal_pictures_alone_are_no_freeze():
    clock = itertools.count(0.0, 0.3).__next__
    acts = [p for v in range(20) for p in (picture(v), picture(v))]
    seen = []
    with NewestFrame(Script(*acts, None), clock=clock,
                     on_state=lambda state, message: seen.append(state)) as reader:  # fmt: skip
        assert reader.wait_for_state("ended")
    assert seen == ["live", "ended"]


def test_a_difference_the_sample_does_not_see_still_counts():
    other = picture(1)
    other[5, 5, 1] = 2
    clock = itertools.count(0.0, 0.4).__next__
    with NewestFrame(Script(*[picture(1), other] * 8, None), clock=clock) as reader:
        assert reader.wait_for_state("ended", "frozen") and reader.state == "ended"


def test_a_lost_source_is_reopened_with_doubling_capped_pauses():
    pauses, tries = [], itertools.count(1)

    def reopen():
        if next(tries) < 7:
            raise CameraError("scripted cannot be opened; check the cable.")

    def pause(seconds):
        pauses.append(seconds)
        return False

    acts = [picture(1), CameraLost("scripted stopped; check its cable."), picture(2),
            CameraLost("scripted stopped again."), picture(3), None]  # fmt: skip
    messages = []
    with NewestFrame(Script(*acts, reopen=reopen), pause=pause,
                     on_state=lambda *a: messages.append(a)) as reader:  # fmt: skip
        assert reader.wait_for_state("ended")
    assert pauses == [0.5, 1, 2, 4, 8, 8, 8, 0.5]  # a good picture begins anew
    assert [state for state, _ in messages] == ["live", "lost", "waiting", "live", "lost",
                                                "waiting", "live", "ended"]  # fmt: skip
    assert messages[1][1] == "scripted stopped; check its cable; trying again in 0.5 s."


def test_while_lost_reading_says_so_at_the_deadline():
    script = Script(picture(1), CameraLost("scripted stopped."), reopen=lambda: None)
    with NewestFrame(script, backoff_s=(60, 60)) as reader:
        assert reader.wait_for_state("lost")
        with pytest.raises(CameraLost, match="trying again in 60 s"):
            reader.read(0.02)  # the picture from before is no longer handed out


def test_what_cannot_be_reopened_is_lost_at_once():
    with NewestFrame(Script(CameraLost("scripted stopped."))) as reader:
        with pytest.raises(CameraLost, match="scripted stopped"):
            reader.read(30)


def test_silence_is_waiting_and_long_silence_is_lost():
    clock = itertools.count(0.0, 0.3).__next__
    seen = []
    with NewestFrame(Script(picture(1), reopen=lambda: None), clock=clock, backoff_s=(60, 60),
                     on_state=lambda state, message: seen.append(state)) as reader:  # fmt: skip
        assert reader.wait_for_state("lost")
    assert seen == ["live", "waiting", "lost"]


def test_a_fault_of_our_own_reaches_the_reader():
    with NewestFrame(Script(picture(1), ZeroDivisionError("bug"), live=False)) as reader:
        assert reader.read().number == 0
        with pytest.raises(ZeroDivisionError):
            reader.read(5)
        with pytest.raises(CameraLost, match="the reader failed"):
            reader.read(5)


def test_closing_ends_every_wait():
    reader = NewestFrame(Script(picture(1), CameraLost("gone."), reopen=lambda: None),
                         backoff_s=(600, 600))  # fmt: skip
    assert reader.wait_for_state("lost")
    reader.close()
    reader.close()
    with pytest.raises(CameraError, match="has been closed"):
        reader.read(30)
    assert not reader._thread.is_alive()


def test_a_real_capture_unplugged_frozen_and_back():
    fakes = [FakeCapture(), FakeCapture()]
    left = iter(fakes)
    camera = CaptureCamera(lambda: next(left), "camera 0", lost_after_s=0.05)
    lost = threading.Event()

    def on_state(state, message):
        if state == "lost":
            lost.set()

    with NewestFrame(
        camera, backoff_s=(0.01, 0.02), frozen_after_s=0.05, on_state=on_state
    ) as reader:
        first = reader.read().number
        fakes[0].mode = "unplugged"
        assert lost.wait(10) and reader.wait_for_state("live")
        assert reader.read().number > first
        fakes[1].mode = "frozen"
        assert reader.wait_for_state("frozen")
        fakes[1].mode = "fine"
        assert reader.wait_for_state("live")
    assert all(fake.released.is_set() for fake in fakes)
