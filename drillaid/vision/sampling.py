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


def grey_at(image: np.ndarray, px: np.ndarray, weights) -> np.ndarray:
    """float32 (...): of a colour picture, uint8 (H, W, 3), its mixture by weights (3,) at px."""
    values = sample(image, px).astype(np.float32)
    # The library's product of so narrow matrices is several times slower.
    mixed = cv2.transform(values.reshape(-1, 1, 3), np.asarray(weights, np.float32).reshape(1, 3))
    return mixed.reshape(values.shape[:-1])


def along_lines(middle: np.ndarray, direction: np.ndarray, t: np.ndarray) -> np.ndarray:
    """float32 (M, T, 2): middle + t direction, of M lines (M, 2) at each of T steps."""
    px = np.empty((len(middle), len(t), 2), np.float32)
    # One coordinate after the other: rows of two numbers are worked on several times slower.
    for k in (0, 1):
        np.add(middle[:, k, None], direction[:, k, None] * t, out=px[..., k], casting="same_kind")
    return px
