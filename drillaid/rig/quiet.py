"""Keeps the picture library's own chatter off standard error; we say what is wrong ourselves."""

from __future__ import annotations

import contextlib
import os
import threading

os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")  # read when the first stream opens

import cv2  # noqa: E402

_lock = threading.RLock()


def silence() -> None:
    """Turns OpenCV's warnings off for the whole process: its readers run in threads."""
    logging = getattr(cv2.utils, "logging", None)
    if logging is not None:
        logging.setLogLevel(logging.LOG_LEVEL_SILENT)


@contextlib.contextmanager
def quiet_decoding():
    """Also mutes what the JPEG and PNG decoders write straight to descriptor 2.

    The whole process is mute meanwhile, so only for the moment of one decoding.
    """
    silence()
    with _lock:
        try:
            kept = os.dup(2)
        except OSError:  # no standard error at all
            yield
            return
        try:
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, 2)
            os.close(nowhere)
            yield
        finally:
            os.dup2(kept, 2)
            os.close(kept)
