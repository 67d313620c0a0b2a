"""Brightness at many places of one picture, between pixels."""

from __future__ import annotations

import cv2
import numpy as np

WIDE = 2048  # the library takes pictures, not lists, of less than 32768 rows


def sample(grey: np.ndarray, px: np.ndarray) -> np.ndarray:
    """Values at px (..., 2), bilinear, in the picture's type, (...) or (..., channels).

    Outside, the nearest pixel of the rim counts.
    """
    points = np.nan_to_num(np.asarray(px, dtype=np.float32), nan=-1e4).reshape(-1, 2)
    if not len(points):
        return np.zeros((*np.shape(px)[:-1], *grey.shape[2:]), dtype=grey.dtype)
    rows = -(-len(points) // WIDE)
    padded = np.zeros((rows * WIDE, 2), dtype=np.float32)
    padded[: len(points)] = points
    table = padded.reshape(rows, WIDE, 2)
    out = cv2.remap(grey, table, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    channels = out.shape[2:]
    flat = out.reshape(-1, *channels)[: len(points)]
    return flat.reshape(*np.shape(px)[:-1], *channels)
