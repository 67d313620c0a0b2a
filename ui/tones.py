"""The sounds themselves, as samples: short tones with soft ends, and a beat that goes on.

Pure arithmetic; `ui.sound` hands the samples to the device. Cues differ in their tune (up,
down, twice, a chord, a low buzz), so that they are told apart whatever the loudspeaker does
to pitch.
"""

from __future__ import annotations

import numpy as np

from drillaid.guidance import beat
from drillaid.guidance.beat import Beat

RATE_HZ = 44_100
TICK_S = 0.045
FADE_S = 0.006  # softer ends do not click
# (pitch Hz, seconds); 0 Hz is a rest
TUNES = {
    beat.FOUND: ((392, 0.09), (587, 0.13)),
    beat.LOST: ((587, 0.09), (392, 0.09), (262, 0.16)),
    beat.ON_TARGET: ((1047, 0.10), (0, 0.04), (1047, 0.22)),
    beat.DRILLED: ((523, 0.07), (659, 0.07), (784, 0.07), (1047, 0.16)),
    beat.REFUSED: ((147, 0.13), (0, 0.05), (147, 0.13)),
}


def tone(pitch_hz: float, seconds: float) -> np.ndarray:
    """float32, -1 … 1; a fundamental with two overtones, which small loudspeakers bring out."""
    count = round(seconds * RATE_HZ)
    if pitch_hz <= 0:
        return np.zeros(count, np.float32)
    t = np.arange(count) / RATE_HZ
    phase = 2 * np.pi * pitch_hz * t
    wave = (np.sin(phase) + 0.35 * np.sin(2 * phase) + 0.15 * np.sin(3 * phase)) / 1.5
    fade = min(round(FADE_S * RATE_HZ), count // 2)
    if fade:
        slope = np.linspace(0, 1, fade, endpoint=False)
        wave[:fade] *= slope
        wave[-fade:] *= slope[::-1]
    return wave.astype(np.float32)


def tune(cue: str) -> np.ndarray:
    """The samples of one of `beat.CUES`."""
    return np.concatenate([tone(pitch, seconds) for pitch, seconds in TUNES[cue]])


class Mixer:
    """Samples on demand: the beat goes on from call to call, a cue silences it while it lasts."""

    def __init__(self) -> None:
        self.volume = 0.5
        self._beat: Beat | None = None
        self._to_next = 0  # samples until the next beat begins
        self._playing = np.zeros(0, np.float32)

    def set_beat(self, beat_: Beat | None) -> None:
        """A quicker beat takes hold at once, a slower one after the next."""
        if beat_ is None:
            self._to_next = 0
        elif self._beat is not None:
            self._to_next = min(self._to_next, round(beat_.gap_s * RATE_HZ))
        self._beat = beat_

    def cue(self, name: str) -> None:
        """Now, instead of what is sounding."""
        self._playing = tune(name)
        self._to_next = len(self._playing) + round(0.15 * RATE_HZ)

    def samples(self, count: int) -> np.ndarray:
        """The next int16 (count,)."""
        out = np.zeros(count, np.float32)
        filled = 0
        while filled < count:
            if not len(self._playing) and self._beat is not None and self._to_next <= 0:
                self._playing = tone(self._beat.pitch_hz, TICK_S)
                self._to_next = round(self._beat.gap_s * RATE_HZ)
            step = count - filled
            if len(self._playing):
                step = min(step, len(self._playing))
                out[filled : filled + step] = self._playing[:step]
                self._playing = self._playing[step:]
            elif self._beat is not None:
                step = min(step, self._to_next)
            self._to_next = max(0, self._to_next - step)
            filled += step
        # Hearing is logarithmic: half of the slider is to sound half as loud.
        return np.round(out * 32000 * self.volume**2).astype(np.int16)
