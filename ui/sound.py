"""The beat and the cues made heard, through Qt. No device, or no library, is no error.

Qt's sound library is imported beside the window when a beat is first wanted, and asked
for nothing that could warn where there is none.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import contextmanager

from PyQt6.QtCore import QObject, QTimer, qInstallMessageHandler

from drillaid.guidance.beat import beat_of, cue_of
from ui.tones import RATE_HZ, Mixer

FILL_MS = 15
BUFFER_S = 0.06  # what is heard is so old at most


@contextmanager
def _silent():
    """A machine without sound makes Qt's backends complain; that is no news to anybody."""
    before = qInstallMessageHandler(lambda *_: None)
    try:
        yield
    finally:
        qInstallMessageHandler(before)


def open_device():
    """(sink, io) of the default output, or None where there is none."""
    try:
        from PyQt6.QtMultimedia import QAudioFormat, QAudioSink, QMediaDevices
    except ImportError:
        return None
    with _silent():
        device = QMediaDevices.defaultAudioOutput()
        if device.isNull():
            return None
        shape = QAudioFormat()
        shape.setSampleRate(RATE_HZ)
        shape.setChannelCount(1)
        shape.setSampleFormat(QAudioFormat.SampleFormat.Int16)
        if not device.isFormatSupported(shape):
            return None
        sink = QAudioSink(device, shape)
        sink.setBufferSize(2 * round(BUFFER_S * RATE_HZ))
        io = sink.start()
    return None if io is None else (sink, io)


def _load() -> None:
    """Imports the library, some 0.1 s, where the window does not wait for it."""
    try:
        with _silent():
            import PyQt6.QtMultimedia  # noqa: F401
    except ImportError:
        pass


class Sound(QObject):
    """open_device: for tests; None from it means silence. `hear` is given all moments."""

    def __init__(self, open_device: Callable = open_device, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.mixer = Mixer()
        self.beating = True
        self._open, self._device = open_device, None
        self._loading: threading.Thread | None = None
        self._tried = False
        self._timer = QTimer(self)
        self._timer.setInterval(FILL_MS)
        self._timer.timeout.connect(self._fill)

    @property
    def sounds(self) -> bool:
        """There is a device, and it is fed."""
        return self._device is not None

    def start(self) -> None:
        """Where no device was found at the first time, none is looked for again."""
        if self._tried:
            if self._device is not None:
                self._timer.start()
            return
        if self._loading is None:
            self._loading = threading.Thread(target=_load, name="sound", daemon=True)
            self._loading.start()
        self._timer.start()

    def stop(self) -> None:
        """Silence until the next start."""
        self.mixer.set_beat(None)
        self._timer.stop()

    def close(self) -> None:
        self.stop()
        if self._loading is not None:
            self._loading.join(10.0)
        device, self._device = self._device, None
        if device is not None:
            device[0].stop()

    def hear(self, moments) -> None:
        """moments: all Guidance since the last call, in order."""
        if not moments:
            return
        self.mixer.set_beat(beat_of(moments[-1]) if self.beating else None)
        cue = cue_of(moments)
        if cue is not None:
            self.mixer.cue(cue)

    def _fill(self) -> None:
        if not self._tried:
            if self._loading is not None and self._loading.is_alive():
                return
            self._tried = True
            self._device = self._open()
            if self._device is None:
                self._timer.stop()
                return
        sink, io = self._device
        room = sink.bytesFree() // 2
        if room > 0:
            io.write(self.mixer.samples(room).tobytes())
