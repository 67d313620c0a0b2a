from __future__ import annotations

import itertools

import numpy as np
import pytest

from drillaid.guidance.beat import CUES, Beat
from ui.tones import RATE_HZ, TICK_S, Mixer, tone, tune


def pitch_of(wave) -> float:
    """The strongest frequency, Hz."""
    spectrum = np.abs(np.fft.rfft(wave, 1 << 16))
    return float(np.argmax(spectrum) * RATE_HZ / (1 << 16))


def starts(samples) -> np.ndarray:
    """Times (s) at which sound begins after silence."""
    loud = np.abs(samples.astype(int)) > 300
    first = np.flatnonzero(
        loud & ~np.roll(np.convolve(loud, np.ones(900), "full")[: len(loud)] > 0, 1)
    )
    return first / RATE_HZ


@pytest.mark.parametrize("pitch", [200, 440, 900])
def test_a_tone_has_its_pitch_and_soft_ends(pitch):
    wave = tone(pitch, 0.3)
    assert pitch_of(wave) == pytest.approx(pitch, rel=0.01)
    assert abs(wave[0]) < 0.01 and abs(wave[-1]) < 0.01
    assert np.abs(wave).max() <= 1.0


def test_no_two_cues_sound_alike():
    shapes = {name: tune(name) for name in CUES}
    for one, other in itertools.combinations(CUES, 2):
        a, b = shapes[one], shapes[other]
        length = max(len(a), len(b))
        a, b = np.pad(a, (0, length - len(a))), np.pad(b, (0, length - len(b)))
        assert abs(a @ b) < 0.6 * np.linalg.norm(a) * np.linalg.norm(b), (one, other)


@pytest.mark.parametrize("gap", [0.12, 0.4, 0.9])
def test_the_beat_keeps_its_time_whatever_the_buffer(gap):
    mixer = Mixer()
    mixer.volume = 1.0
    mixer.set_beat(Beat(gap, 500.0))
    rng = np.random.default_rng(3)
    parts = [mixer.samples(int(n)) for n in rng.integers(1, 3000, 120)]
    heard = starts(np.concatenate(parts))
    assert len(heard) >= 3
    assert np.diff(heard) == pytest.approx(gap, abs=0.002)


def test_a_quicker_beat_takes_hold_at_once():
    mixer = Mixer()
    mixer.volume = 1.0
    mixer.set_beat(Beat(0.9, 300.0))
    mixer.samples(RATE_HZ // 10)
    mixer.set_beat(Beat(0.12, 800.0))
    assert starts(mixer.samples(RATE_HZ // 2))[0] < 0.15


def test_a_cue_silences_the_beat_and_then_it_goes_on():
    mixer = Mixer()
    mixer.volume = 1.0
    mixer.set_beat(Beat(0.2, 500.0))
    mixer.samples(5000)
    mixer.cue("drilled")
    wave = tune("drilled")
    heard = mixer.samples(len(wave))
    assert heard / 32000 == pytest.approx(wave, abs=1e-3)
    assert len(starts(mixer.samples(RATE_HZ))) >= 3


def test_silence_and_volume():
    mixer = Mixer()
    assert not mixer.samples(4000).any()
    mixer.volume = 0.0
    mixer.cue("found")
    assert not mixer.samples(4000).any()
    loud, soft = [], []
    for volume, into in ((1.0, loud), (0.5, soft)):
        mixer = Mixer()
        mixer.volume = volume
        mixer.cue("found")
        into.append(np.abs(mixer.samples(4000).astype(int)).max())
    assert soft[0] == pytest.approx(loud[0] / 4, rel=0.02)
    assert TICK_S < 0.11  # a beat ends before the quickest next one
