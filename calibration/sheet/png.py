"""A sheet as PNG that knows its resolution.

Each pixel holds the share of it that is white, so edges that fall inside a pixel keep their
place.
"""

from __future__ import annotations

import struct
import zlib

import cv2
import numpy as np

from calibration.sheet.shapes import Sheet, Text
from drillaid.errors import UsageError

DPI = (72.0, 2400.0)
MOST_PIXELS = 250_000_000
_WEIGHTS = {"plain": 400, "bold": 700, "mono": 600}


def png_of(sheet: Sheet, dpi: float = 600.0) -> bytes:
    """The whole file, grey. Raises UsageError where the resolution makes no sense."""
    if not DPI[0] <= dpi <= DPI[1]:
        raise UsageError(f"--dpi is {DPI[0]:g} to {DPI[1]:g}, not {dpi:g}")
    # The file states whole pixels per metre: the picture is drawn at that very scale.
    per_metre = round(dpi / 0.0254)
    if sheet.width_mm * sheet.height_mm * (per_metre / 1000) ** 2 > MOST_PIXELS:
        raise UsageError(
            f"at {dpi:g} dots per inch this sheet has too many pixels",
            remedy="take a smaller --dpi, or PDF",
        )
    picture = drawn(sheet, per_metre / 1000)
    _, data = cv2.imencode(".png", picture)
    return _with_resolution(data.tobytes(), per_metre)


def drawn(sheet: Sheet, px_per_mm: float) -> np.ndarray:
    """(height, width) uint8; sheet mm m lies at pixel coordinate m * px_per_mm - 0.5."""
    width, height = (round(v * px_per_mm) for v in (sheet.width_mm, sheet.height_mm))
    black = np.zeros((height, width), np.float32)
    for shape in sheet.shapes:
        for x0, y0, x1, y1 in shape.boxes():
            rows, down = _share(y0 * px_per_mm, y1 * px_per_mm, height)
            columns, across = _share(x0 * px_per_mm, x1 * px_per_mm, width)
            black[rows, columns] += np.outer(down, across)
    picture = np.rint(255 * (1 - np.minimum(black, 1))).astype(np.uint8)
    for text in sheet.texts:
        write(picture, text, px_per_mm)
    return picture


def _share(start: float, end: float, size: int) -> tuple[slice, np.ndarray]:
    """The pixels between two places along one axis, and how much of each lies between."""
    first, last = max(int(np.floor(start)), 0), min(int(np.ceil(end)), size)
    edges = np.clip(np.arange(first, last + 1), start, end)
    return slice(first, last), np.diff(edges).astype(np.float32)


def write(picture: np.ndarray, text: Text, px_per_mm: float) -> None:
    """Puts a line of words into a grey picture, no wider than `Text.room_mm`."""
    face = cv2.FontFace("sans")
    size = max(1, round(text.size_mm * px_per_mm))
    weight = _WEIGHTS[text.style]
    at = round(text.x_mm * px_per_mm), round(text.y_mm * px_per_mm)
    cv2.putText(picture, text.words, at, (0,), face, size, weight)


def _with_resolution(data: bytes, per_metre: int) -> bytes:
    """With a pHYs chunk after the header (PNG, ISO/IEC 15948, 11.3.5.3); 1 is the metre."""
    end_of_header = 8 + 4 + 4 + 13 + 4
    body = b"pHYs" + struct.pack(">IIB", per_metre, per_metre, 1)
    chunk = struct.pack(">I", 9) + body + struct.pack(">I", zlib.crc32(body))
    return data[:end_of_header] + chunk + data[end_of_header:]
