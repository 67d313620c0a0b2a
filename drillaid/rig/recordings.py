"""Video files and folders of stills: sources that wait for their reader and end.

Every picture is handed out, in order. `time_s` runs on the recording's own
clock from 0, so that an analysis gives the same answer at any speed.
"""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np

from drillaid.errors import CameraError, CameraTimeout, PictureError
from drillaid.rig.frame import Frame
from drillaid.rig.pictures import is_picture, read_picture
from drillaid.rig.quiet import silence


class _Recording:
    """Counting, looping and pacing; a subclass has `_rewind` and `_next`.

    `_next` -> (image, seconds since the start of this pass) or None at the end.
    """

    live = False

    def __init__(self, name: str, *, loop: bool, paced: bool):
        self.name = name
        self._loop, self._paced = loop, paced
        self._lock = threading.Lock()
        self._closed = threading.Event()
        self._number = 0
        self._offset_s = self._last_s = 0.0
        self._step_s = 1 / 30
        self._started: float | None = None
        self._ready: Frame | None = None

    def read(self, timeout_s: float = 2.0) -> Frame | None:
        """The next picture; None after the last."""
        with self._lock:
            if self._closed.is_set():
                raise CameraError(f"{self.name} has been closed.")
            frame = self._ready = self._ready or self._advance()
            if frame is None:
                return None
            self._wait_until_due(frame, timeout_s)
            self._ready = None
            return frame

    def _advance(self) -> Frame | None:
        found = self._next()
        if found is None and self._loop and self._number:
            self._offset_s = self._last_s + self._step_s
            self._rewind()
            found = self._next()
        if found is None:
            return None
        image, seconds = found
        image.setflags(write=False)
        self._last_s = self._offset_s + seconds
        frame = Frame(image, self._number, self._last_s)
        self._number += 1
        return frame

    def _wait_until_due(self, frame: Frame, timeout_s: float) -> None:
        if not self._paced:
            return
        now = time.monotonic()
        if self._started is None:
            self._started = now - frame.time_s
        wait = self._started + frame.time_s - now
        if wait > timeout_s:
            self._closed.wait(max(0.0, timeout_s))
            raise CameraTimeout(f"{self.name}: the next picture is not due yet.")
        if wait > 0:
            self._closed.wait(wait)

    def reopen(self) -> None:
        """Begins again; numbers and times go on."""
        with self._lock:
            self._offset_s = self._last_s + self._step_s
            self._rewind()

    def close(self) -> None:
        self._closed.set()
        with self._lock:
            self._release()

    def __enter__(self):
        return self

    def __exit__(self, *exc_info) -> None:
        self.close()

    def _next(self) -> tuple[np.ndarray, float] | None:
        raise NotImplementedError

    def _rewind(self) -> None:
        raise NotImplementedError

    def _release(self) -> None:
        pass


class VideoFile(_Recording):
    """A video file; a phone's orientation mark is honoured by the decoder.

    loop: begin again at the end; paced: not faster than it was taken.
    Raises PictureError for what is no video.
    """

    def __init__(self, path: str | Path, *, loop: bool = False, paced: bool = False,
                 make: Callable[[str], object] = cv2.VideoCapture):  # fmt: skip
        super().__init__(Path(path).name, loop=loop, paced=paced)
        silence()
        self._path, self._make = str(path), make
        self._capture = make(self._path)
        self._first = self._decode() if self._capture.isOpened() else None
        if self._first is None:
            self._capture.release()
            raise PictureError(
                "is no video that can be read",
                file=path,
                remedy="give an MP4, MOV, MKV or AVI file, or a folder of photographs",
            )
        rate = self._capture.get(cv2.CAP_PROP_FPS)
        self._step_s = 1 / rate if rate and 0.1 <= rate <= 1000 else 1 / 30

    def _decode(self) -> tuple[np.ndarray, float] | None:
        ok, image = self._capture.read()
        if not ok or image is None:
            return None
        if image.ndim == 2:
            image = cv2.cvtColor(image, cv2.COLOR_GRAY2BGR)
        return image, self._capture.get(cv2.CAP_PROP_POS_MSEC) / 1000

    def _next(self) -> tuple[np.ndarray, float] | None:
        found, self._first = self._first or self._decode(), None
        if found is None:
            return None
        image, stamp = found
        # Phones vary their rate, so the stamp counts where it goes forward.
        if self._number:
            before = self._last_s - self._offset_s
            stamp = stamp if before < stamp < before + 10 else before + self._step_s
        return image, stamp

    def _rewind(self) -> None:
        self._capture.release()
        self._capture = self._make(self._path)

    def _release(self) -> None:
        self._capture.release()


class Stills(_Recording):
    """Photographs one after the other, in the natural order of their names.

    A photograph that cannot be read raises PictureError in its turn; the next
    `read` goes on behind it. time_s counts interval_s a picture.
    """

    def __init__(self, path: str | Path, *, interval_s: float = 1.0, loop: bool = False,
                 paced: bool = False):  # fmt: skip
        folder = Path(path)
        super().__init__(folder.name or str(folder), loop=loop, paced=paced)
        try:
            files = sorted(folder.iterdir(), key=_natural) if folder.is_dir() else [folder]
        except OSError as error:
            raise PictureError(
                f"cannot be read ({error.strerror})", file=path, remedy="give another folder"
            ) from None
        self.files = [file for file in files if file.is_file() and is_picture(file)]
        if not self.files:
            raise PictureError(
                "holds no photograph", file=path, remedy="put JPEG, PNG, TIFF, WebP or BMP files in"
            )
        self._step_s = interval_s
        self._at = 0

    def _next(self) -> tuple[np.ndarray, float] | None:
        if self._at >= len(self.files):
            return None
        self._at += 1
        return read_picture(self.files[self._at - 1]), (self._at - 1) * self._step_s

    def _rewind(self) -> None:
        self._at = 0


def _natural(path: Path) -> list:
    """img2 before img10; text and numbers alternate, so any two keys compare."""
    parts = re.split(r"([0-9]+)", path.name.lower())
    return [int(part) if at % 2 else part for at, part in enumerate(parts)]
