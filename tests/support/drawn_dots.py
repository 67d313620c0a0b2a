"""Dark dots on grey, in a picture of 60 x 40 mm at 0.06 mm a pixel."""

from __future__ import annotations

import cv2
import numpy as np

from drillaid.vision.eye import Eye

PX_PER_MM = 1 / 0.06


def drawn_dots(xy_mm, radius_mm: float, noise: float, seed: int = 0) -> Eye:
    """Dark dots on grey, drawn eight times finer than they are seen."""
    fine = 8
    shape = (int(40 * PX_PER_MM), int(60 * PX_PER_MM))
    canvas = np.full((shape[0] * fine, shape[1] * fine), 170, np.uint8)
    for x, y in xy_mm:
        centre = tuple(int(round(((v * PX_PER_MM + 0.5) * fine - 0.5) * 16)) for v in (x, y))
        cv2.circle(canvas, centre, int(radius_mm * PX_PER_MM * fine * 16), 90, -1, cv2.LINE_AA, 4)
    grey = cv2.resize(canvas, shape[::-1], interpolation=cv2.INTER_AREA).astype(np.float32)
    grey += np.random.default_rng(seed).normal(0, noise, shape).astype(np.float32)
    return Eye(cv2.GaussianBlur(grey, (0, 0), 0.8), noise / 3)


def to_px(xy_mm):
    return np.asarray(xy_mm) * PX_PER_MM
