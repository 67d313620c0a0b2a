"""Brightness at many places of one picture, between pixels."""

from __future__ import annotations

import cv2
import numpy as np

WIDE = 2048  # the library takes pictures, not lists, of less than 32768 rows


def sample(grey: np.ndarray, px: np.ndarray) -> np.ndarray:
    """Values at px (..., 2), bilinear, in the picture's type, (...) or (..., channels).

    Outside, the nearest pixel of the rim counts.
    """
    points = np.asarray(px).reshape(-1, 2)
    if not len(points):
        return np.zeros((*np.shape(px)[:-1], *grey.shape[2:]), dtype=grey.dtype)
    rows = -(-len(points) // WIDE)
    padded = np.zeros((rows * WIDE, 2), dtype=np.float32)
    padded[: len(points)] = points
    if np.isnan(padded.sum()):  # what cannot be seen at all lies far outside
        padded = np.nan_to_num(padded, nan=-1e4)
    table = padded.reshape(rows, WIDE, 2)
    out = cv2.remap(grey, table, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    channels = out.shape[2:]
    flat = out.reshape(-1, *channels)[: len(points)]
    return flat.reshape(*np.shape(px)[:-1], *channels)
