from __future__ import annotations

import numpy as np
import pytest
from support.bench_job import Job, work_of

from ui.sound import Sound, open_device


class Device:
    """Takes all it is given, 50 ms at a time."""

    def __init__(self):
        self.heard, self.stopped = [], False

    def bytesFree(self):  # noqa: N802
        return 2 * 2205

    def write(self, data):
        self.heard.append(np.frombuffer(data, np.int16))

    def stop(self):
        self.stopped = True


@pytest.fixture
def device():
    return Device()


@pytest.fixture
def sound(qtbot, device):
    made = Sound(lambda: (device, device))
    made.mixer.volume = 1.0
    yield made
    made.close()
    assert device.stopped or not made._tried


def test_a_machine_without_sound_is_silent_and_says_nothing(qtbot):
    """Also where Qt finds no sound server: the test fails on any Qt warning."""
    sound = Sound(lambda: None)
    sound.start()
    qtbot.waitUntil(lambda: sound._tried, timeout=10_000)
    sound.hear([Job(work_of((0.8, 1))).see()])
    assert not sound.sounds and not sound._timer.isActive()
    sound.start()
    sound.close()


def test_asking_the_real_device_never_warns(qtbot):
    device = open_device()
    if device is not None:
        device[0].stop()


def test_the_beat_and_the_cues_reach_the_device(qtbot, sound, device):
    job = Job(work_of((0.8, 2)))
    job.fit(0.8)
    sound.start()
    sound.hear([job.see(off=(0.4, 0.0))])
    qtbot.waitUntil(lambda: len(device.heard) > 20, timeout=10_000)
    assert np.abs(np.concatenate(device.heard)).max() > 5000
    moments = [job.see() for _ in range(14)]
    sound.hear(moments)  # on target: its cue, then silence
    assert sound.mixer._beat is None


def test_the_beat_can_be_switched_off_and_cues_stay(qtbot, sound, device):
    job = Job(work_of((0.8, 2)))
    job.fit(0.8)
    sound.beating = False
    sound.start()
    sound.hear([job.see(off=(0.4, 0.0))])
    assert sound.mixer._beat is None
    assert len(sound.mixer._playing)  # "found"
