"""What we ask of a camera: size, stream, and holding focus and exposure still.

Cameras promise much and keep little, so each request is recorded with what
came of it: {"asked": …, "got": …, "kept": bool}.
"""

from __future__ import annotations

import math

import cv2

MJPG = cv2.VideoWriter.fourcc(*"MJPG")
# Manual exposure: 1 in the Video4Linux interface; its automatic mode is 3.
_MANUAL_EXPOSURE = 1.0


def ask_for(capture, size: tuple[int, int]) -> dict[str, dict]:
    """Compressed frames of the wanted size and no queue of old ones, before the first frame.

    The stream comes first: uncompressed 1080p does not fit through USB 2 at
    more than a few frames a second.
    """
    wanted = {
        "stream": (cv2.CAP_PROP_FOURCC, MJPG),
        "width_px": (cv2.CAP_PROP_FRAME_WIDTH, size[0]),
        "height_px": (cv2.CAP_PROP_FRAME_HEIGHT, size[1]),
        "rate_hz": (cv2.CAP_PROP_FPS, 30),
        "queue_frames": (cv2.CAP_PROP_BUFFERSIZE, 1),
    }
    return {name: _request(capture, key, value) for name, (key, value) in wanted.items()}


def hold_still(capture) -> dict[str, dict]:
    """Stops the automatics at the values they have settled on, after some frames.

    A lens that refocuses changes the calibrated model; exposure and white
    balance that wander change what copper looks like.
    """
    out = {}
    for name, auto, off, value in (
        ("focus", cv2.CAP_PROP_AUTOFOCUS, 0.0, cv2.CAP_PROP_FOCUS),
        ("exposure", cv2.CAP_PROP_AUTO_EXPOSURE, _MANUAL_EXPOSURE, cv2.CAP_PROP_EXPOSURE),
        ("white_balance", cv2.CAP_PROP_AUTO_WB, 0.0, cv2.CAP_PROP_WB_TEMPERATURE),
    ):
        settled = _get(capture, value)
        out[f"{name}_auto"] = _request(capture, auto, off)
        if out[f"{name}_auto"]["kept"] and settled is not None and settled > 0:
            out[name] = _request(capture, value, settled)
    return out


def _get(capture, key: int) -> float | None:
    try:
        value = float(capture.get(key))
    except (cv2.error, TypeError, ValueError):
        return None
    return value if math.isfinite(value) else None


def _request(capture, key: int, value: float) -> dict:
    try:
        accepted = bool(capture.set(key, value))
    except cv2.error:
        accepted = False
    got = _get(capture, key)
    return {"asked": value, "got": got, "kept": accepted and got == float(value)}
