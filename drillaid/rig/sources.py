"""From what stands after --camera to a source of frames."""

from __future__ import annotations

import os
import re
import stat
import sys
from collections.abc import Callable
from pathlib import Path
from urllib.parse import unquote, urlsplit

import cv2

from drillaid.errors import CameraError, UsageError
from drillaid.rig.capture import CaptureCamera
from drillaid.rig.frame import Camera
from drillaid.rig.pictures import is_picture
from drillaid.rig.recordings import Stills, VideoFile

_REMEDY = (
    "give a device number, a device path, a stream or video URL, a video file, "
    "a folder of photographs or sim"
)
_factories: dict[str, Callable[..., Camera]] = {}


def register_source(word: str, factory: Callable[..., Camera]) -> None:
    """Lets `--camera word` open `factory(size=…, **options)`; `sim` comes in this way.

    Who starts the program registers, so that the rig knows nothing of the simulation.
    """
    _factories[word] = factory


def open_camera(
    src: str,
    *,
    size: tuple[int, int] = (1920, 1080),
    loop: bool = False,
    paced: bool = False,
    hold: bool = True,
    open_timeout_s: float = 10.0,
    **options,
) -> Camera:
    """Opens a source.

    size: (width, height) px asked of a device; whether it came is for
    `pictures.check_size` to say. loop, paced: recordings begin again; go no
    faster than taken. hold: devices stop focusing and exposing by themselves
    once settled. options: for a registered source.
    Raises UsageError or PictureError for a wrong source, CameraError for one that fails.
    """
    src = str(src).strip()
    if src in _factories:
        return _factories[src](size=size, **options)
    if src == "sim":
        raise UsageError("the simulated camera is not available in this command", remedy=_REMEDY)
    if not src or "\0" in src:
        raise UsageError("the camera source is empty", remedy=_REMEDY)
    if re.fullmatch(r"[0-9]{1,3}", src):
        return _device(src, size, hold, open_timeout_s)
    scheme = urlsplit(src).scheme if "://" in src else ""
    if scheme == "file":
        src, scheme = unquote(urlsplit(src).path), ""
    if scheme:
        return _stream(src, open_timeout_s)
    if _is_device(src):
        return _device(src, size, hold, open_timeout_s)
    return _recording(src, loop, paced)


def _recording(src: str, loop: bool, paced: bool) -> Camera:
    path = Path(src)
    try:
        exists = path.exists()
    except (OSError, ValueError):
        exists = False
    if not exists:
        raise UsageError(f"there is no camera source '{src}'", remedy=_REMEDY)
    if path.is_dir() or is_picture(path):
        return Stills(path, loop=loop, paced=paced)
    return VideoFile(path, loop=loop, paced=paced)


def _is_device(src: str) -> bool:
    if src.startswith(("/dev/", "\\\\.\\")):
        return True
    try:
        return stat.S_ISCHR(os.stat(src).st_mode)
    except (OSError, ValueError):
        return False


def _device(src: str, size: tuple[int, int], hold: bool, open_timeout_s: float) -> Camera:
    name = f"camera {src}"
    if sys.platform.startswith("linux"):
        _check_node(src if not src.isdigit() else f"/dev/video{int(src)}", name)
    where = int(src) if src.isdigit() else src
    backend = {"linux": cv2.CAP_V4L2, "win32": cv2.CAP_DSHOW}.get(sys.platform, cv2.CAP_ANY)
    return CaptureCamera(
        lambda: cv2.VideoCapture(where, backend),
        name,
        size=size,
        hold=hold,
        open_timeout_s=open_timeout_s,
        hint="check the cable and that no other program uses it",
    )


def _check_node(node: str, name: str) -> None:
    """Says at once what the driver would only say as 'cannot open'."""
    if not os.path.exists(node):
        found = sorted(str(path) for path in Path("/dev").glob("video*"))
        have = f"there are {', '.join(found)}" if found else "this computer shows none at all"
        raise CameraError(f"{name}: there is no device {node}, {have}; plug the camera in.")
    if not os.access(node, os.R_OK | os.W_OK):
        raise CameraError(
            f"{name}: {node} may not be used by this user; join its group (often 'video')."
        )


def _stream(url: str, open_timeout_s: float) -> Camera:
    limit_ms = int(open_timeout_s * 1000)
    limits = [cv2.CAP_PROP_OPEN_TIMEOUT_MSEC, limit_ms, cv2.CAP_PROP_READ_TIMEOUT_MSEC, 5000]
    return CaptureCamera(
        lambda: cv2.VideoCapture(url, cv2.CAP_FFMPEG, limits),
        without_secrets(url),
        open_timeout_s=open_timeout_s,
        lost_after_s=2.0,
        hint="check the address and the network",
    )


def without_secrets(url: str) -> str:
    """The URL without user, password and query: fit for messages and records."""
    parts = urlsplit(url)
    host = parts.netloc.rpartition("@")[2]
    return f"{parts.scheme}://{host}{parts.path}"
