"""Pictures of a board with something of the board's own contrast over a part of it."""

from __future__ import annotations

import cv2
import numpy as np


def hidden(here, share: float, rng) -> np.ndarray:
    """The picture with something skin-coloured and uneven over that share of the holes."""
    image, px = here.render().copy(), here.true_pixels()
    height, width = image.shape[:2]
    angle = rng.uniform(0, 2 * np.pi)
    way = np.array([np.cos(angle), np.sin(angle)])
    v, u = np.mgrid[0:height, 0:width]
    mask = u * way[0] + v * way[1] < np.quantile(px @ way, share) + 8
    uneven = cv2.GaussianBlur(rng.normal(0, 60, image.shape).astype(np.float32), (0, 0), 6)
    image[mask] = np.clip(2 * uneven + [120, 150, 200], 0, 255).astype(np.uint8)[mask]
    return image
