"""Devices and streams through faults: unplugged, stuck, slow, garbage."""

from __future__ import annotations

import threading
import time

import cv2
import numpy as np
import pytest
from support.captures import FakeCapture

from drillaid.errors import CameraError, CameraLost, CameraTimeout
from drillaid.rig import capture as capture_module
from drillaid.rig.capture import CaptureCamera


@pytest.fixture(autouse=True)
def no_thread_stays():
    before = set(threading.enumerate())
    yield
    left = [t for t in set(threading.enumerate()) - before if t.is_alive()]
    for thread in left:
        thread.join(2)
    assert not [t.name for t in left if t.is_alive()]


def test_frames_carry_rising_numbers_and_times():
    with CaptureCamera(FakeCapture, "camera 0") as camera:
        frames = [camera.read() for _ in range(10)]
    assert all(f.image.shape == (48, 64, 3) and not f.image.flags.writeable for f in frames)
    assert all(a.number < b.number and a.time_s <= b.time_s for a, b in zip(frames, frames[1:]))
    assert abs(frames[-1].time_s - time.monotonic()) < 60  # the monotonic clock, not the calendar


def test_only_the_newest_is_handed_out():
    with CaptureCamera(FakeCapture, "camera 0") as camera:
        first = camera.read()
        with camera._grabber.changed:
            camera._grabber.changed.wait_for(lambda: camera._grabber.frame.number > 20, 10)
        assert camera.read().number > first.number + 10


def test_what_does_not_open_says_what_to_do():
    fake = FakeCapture(opens=False)
    with pytest.raises(CameraError, match=r"camera 3 cannot be opened; check .*\.$"):
        CaptureCamera(lambda: fake, "camera 3")
    assert fake.released.is_set()


def test_an_opening_that_hangs_is_given_up_and_released_later():
    free, fake = threading.Event(), FakeCapture()

    def hangs():
        free.wait(30)
        return fake

    with pytest.raises(CameraTimeout, match="did not open within 0.05 s"):
        CaptureCamera(hangs, "camera 0", open_timeout_s=0.05)
    free.set()
    assert fake.released.wait(5)


def test_unplugged_is_lost_and_comes_back_with_numbers_going_on():
    fakes = [FakeCapture(), FakeCapture()]
    left = iter(fakes)
    with CaptureCamera(lambda: next(left), "camera 0", lost_after_s=0.05) as camera:
        last = camera.read().number
        fakes[0].mode = "unplugged"
        with pytest.raises(CameraLost, match="stopped delivering pictures; check its cable"):
            for _ in range(1000):
                last = camera.read().number
        camera.reopen()
        assert camera.read().number > last
    assert all(fake.released.is_set() for fake in fakes)


def test_a_driver_that_is_stuck_meets_the_deadline_and_is_not_opened_twice(monkeypatch):
    monkeypatch.setattr(capture_module, "CLOSE_S", 0.05)
    fake, made = FakeCapture(mode="stuck"), []

    def make():
        made.append(1)
        return fake

    camera = CaptureCamera(make, "camera 0")
    with pytest.raises(CameraTimeout, match="no picture within 0.05 s"):
        camera.read(0.05)
    with pytest.raises(CameraLost, match="driver does not answer; unplug"):
        camera.reopen()
    assert len(made) == 1
    camera.close()
    fake.free.set()
    assert fake.released.wait(5)


@pytest.mark.parametrize("mode", ["garbage", "raises"])
def test_garbage_and_exceptions_end_in_lost_in_one_sentence(mode):
    with CaptureCamera(lambda: FakeCapture(mode=mode), "camera 0", lost_after_s=0.05) as camera:
        with pytest.raises(CameraLost) as caught:
            camera.read(5)
    assert "\n" not in str(caught.value) and str(caught.value).endswith(".")
    assert (camera.bad_frames > 0) == (mode == "garbage")


def test_a_picture_of_another_size_in_between_is_dropped():
    fake = FakeCapture()
    with CaptureCamera(lambda: fake, "camera 0") as camera:
        camera.read()
        fake.shape = (24, 32, 3)
        while camera.bad_frames < 3:
            time.sleep(0.001)
        fake.shape = (48, 64, 3)
        assert all(camera.read().image.shape == (48, 64, 3) for _ in range(5))


@pytest.mark.parametrize("shape", [(48, 64), (48, 64, 4)])
def test_grey_and_four_channel_cameras_give_bgr(shape):
    with CaptureCamera(lambda: FakeCapture(shape), "camera 0") as camera:
        assert camera.read().image.shape == (48, 64, 3)


def test_settings_are_asked_in_order_and_recorded():
    fake = FakeCapture(refuses=[cv2.CAP_PROP_AUTOFOCUS, cv2.CAP_PROP_BUFFERSIZE])
    with CaptureCamera(lambda: fake, "camera 0", size=(1920, 1080)) as camera:
        while camera.read().number < capture_module.SETTLE_FRAMES + 5:
            pass
        settings = dict(camera.settings)
    assert fake.asked[0] == (cv2.CAP_PROP_FOURCC, cv2.VideoWriter.fourcc(*"MJPG"))
    assert settings["width_px"] == {"asked": 1920, "got": 1920.0, "kept": True}
    assert settings["queue_frames"]["kept"] is False
    assert settings["focus_auto"]["kept"] is False and "focus" not in settings
    # Exposure is held where the automatics had brought it.
    assert settings["exposure"] == {"asked": 156.0, "got": 156.0, "kept": True}


def test_streams_and_unheld_devices_keep_their_automatics():
    for options in ({}, {"size": (64, 48), "hold": False}):
        fake = FakeCapture()
        with CaptureCamera(lambda fake=fake: fake, "camera 0", **options) as camera:
            while camera.read().number < capture_module.SETTLE_FRAMES + 5:
                pass
        assert cv2.CAP_PROP_AUTO_EXPOSURE not in [key for key, _ in fake.asked]


def test_a_stream_of_known_length_ends():
    fake = FakeCapture(mode="unplugged")
    fake.values |= {cv2.CAP_PROP_FRAME_COUNT: 12.0, cv2.CAP_PROP_POS_FRAMES: 12.0}
    with CaptureCamera(lambda: fake, "film") as camera:
        assert camera.read() is None and camera.read() is None


def test_closing_twice_and_reading_after():
    fake = FakeCapture()
    camera = CaptureCamera(lambda: fake, "camera 0")
    camera.close()
    camera.close()
    assert fake.released.is_set()
    with pytest.raises(CameraError, match="has been closed"):
        camera.read()
    with pytest.raises(CameraError, match="has been closed"):
        camera.reopen()


def test_the_drivers_time_is_taken_where_it_is_on_our_clock():
    fake = FakeCapture()
    fake.getBackendName = lambda: "V4L2"
    now = 1000.0
    fake.values[cv2.CAP_PROP_POS_MSEC] = 999_960.0
    assert capture_module._taken_at(fake, now) == pytest.approx(999.96)
    fake.values[cv2.CAP_PROP_POS_MSEC] = 1.7e12  # a calendar time
    assert capture_module._taken_at(fake, now) == now
    assert np.isfinite(now)
