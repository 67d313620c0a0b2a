"""Whether there is a screen to open a window on. Qt does not say: it ends the process."""

from __future__ import annotations

import ctypes
import os
import sys
from collections.abc import Mapping
from pathlib import Path

# Platforms of Qt that need nobody's screen; tests and pictures are made on them.
_WITHOUT_SCREEN = ("offscreen", "minimal", "vnc", "linuxfb", "eglfs")


def why_no_screen(environment: Mapping[str, str] | None = None) -> str | None:
    """None where a window can be opened, else what is missing, for a sentence in brackets."""
    env = os.environ if environment is None else environment
    if not sys.platform.startswith("linux"):
        return None
    if env.get("QT_QPA_PLATFORM", "").split(":")[0] in _WITHOUT_SCREEN:
        return None
    if _wayland_socket(env) is not None:
        return None
    display = env.get("DISPLAY")
    if not display:
        return "neither DISPLAY nor WAYLAND_DISPLAY is set"
    if not _answers(display):
        return f"nobody answers at DISPLAY {display}"
    return None


def _wayland_socket(env: Mapping[str, str]) -> Path | None:
    name = env.get("WAYLAND_DISPLAY")
    if not name:
        return None
    path = Path(env.get("XDG_RUNTIME_DIR", "/"), name)
    return path if path.exists() else None


def _answers(display: str) -> bool:
    """Asks the X server as Qt will. Without the library Qt's own plug-in tells what is missing."""
    try:
        xcb = ctypes.CDLL("libxcb.so.1")
    except OSError:
        return True
    xcb.xcb_connect.restype = ctypes.c_void_p
    for call in (xcb.xcb_connection_has_error, xcb.xcb_disconnect):
        call.argtypes = [ctypes.c_void_p]
    connection = xcb.xcb_connect(display.encode(), None)
    failed = xcb.xcb_connection_has_error(connection)
    xcb.xcb_disconnect(connection)
    return failed == 0
