"""Finders of round things that know nothing of boards, to be measured beside ours.

Each takes the grey picture as uint8 and returns rows (u, v, radius_px), best first
where it ranks at all. "generous" settings find the most pads with at most MOST
findings a picture; "strict" ones have the best F1 of recall and precision. Both were
chosen from grids of 15 to 48 settings on simulated benches that `bench_detectors`
does not measure on (seeds 900 to 905, ordinary and hard).
"""

from __future__ import annotations

import cv2
import numpy as np
from scipy import ndimage

RADII_PX = (3.0, 26.0)  # 0.4 to 3.2 mm at 8 px/mm, as registration asks for
MOST = 3000  # findings a picture, the limit of our own finder
APART_PX = 5


def as_bytes(grey: np.ndarray, valid: np.ndarray) -> np.ndarray:
    """uint8 (H, W): all but the darkest and brightest 0.5 % spread over 0 … 255."""
    low, high = np.percentile(grey[valid > 0], [0.5, 99.5])
    return np.clip((grey - low) * (255 / max(high - low, 1e-6)), 0, 255).astype(np.uint8)


def blobs(
    grey: np.ndarray, *, circularity: float, convexity: float, inertia: float, step: float
) -> np.ndarray:
    """OpenCV's SimpleBlobDetector, for bright and for dark ones; it does not rank.

    circularity, convexity, inertia: least; 0 does not ask for it. step: between thresholds
    """
    found = []
    for colour in (255, 0):
        p = cv2.SimpleBlobDetector_Params()
        p.minThreshold, p.maxThreshold, p.thresholdStep = 5, 250, step
        p.minRepeatability, p.minDistBetweenBlobs = 2, APART_PX
        p.filterByColor, p.blobColor = True, colour
        p.filterByArea = True
        p.minArea, p.maxArea = (np.pi * r**2 for r in RADII_PX)
        p.filterByCircularity, p.minCircularity = circularity > 0, circularity or 0.1
        p.filterByConvexity, p.minConvexity = convexity > 0, convexity or 0.1
        p.filterByInertia, p.minInertiaRatio = inertia > 0, inertia or 0.1
        points = cv2.SimpleBlobDetector_create(p).detect(grey)
        found += [(*point.pt, point.size / 2) for point in points]
    return np.array(found).reshape(-1, 3)


def hough(
    grey: np.ndarray, *, method: int, edge: float, votes: float, coarse: float, blur: float
) -> np.ndarray:
    """OpenCV's HoughCircles; edge, votes, coarse: its param1, param2 and dp."""
    if blur > 0:
        grey = cv2.GaussianBlur(grey, (0, 0), blur)
    low, high = (int(r) for r in RADII_PX)
    found = cv2.HoughCircles(
        grey, method, coarse, APART_PX, param1=edge, param2=votes, minRadius=low, maxRadius=high
    )
    if found is None:
        return np.zeros((0, 3))
    return found.reshape(-1, found.shape[-1])[:, :3].astype(np.float64)


def laplacian(
    grey: np.ndarray, *, least: float, scales: int, finest: float, coarsest: float = 10.0
) -> np.ndarray:
    """Extrema of either sign of the scale-normalised Laplacian of Gaussian.

    T. Lindeberg, "Feature detection with automatic scale selection", IJCV 30(2),
    1998 (from memory): s^2 times the Laplacian is extreme at s = radius / sqrt(2)
    over a disc. Places are refined by parabolas. finest, coarsest: s, px
    """
    sigma = np.geomspace(finest, coarsest, scales)
    picture = grey.astype(np.float32)
    stack = np.abs(
        np.stack([s * s * ndimage.gaussian_laplace(picture, s, truncate=3.0) for s in sigma])
    )
    top = (stack == ndimage.maximum_filter(stack, size=(3, 5, 5))) & (stack > least)
    top[:, [0, -1]] = top[:, :, [0, -1]] = False
    k, v, u = np.nonzero(top)
    order = np.argsort(-stack[k, v, u], kind="stable")
    k, v, u = k[order], v[order], u[order]
    here = stack[k, v, u]
    du = _vertex(stack[k, v, u - 1], here, stack[k, v, u + 1])
    dv = _vertex(stack[k, v - 1, u], here, stack[k, v + 1, u])
    return np.column_stack([u + du, v + dv, sigma[k] * np.sqrt(2)])


def _vertex(left: np.ndarray, here: np.ndarray, right: np.ndarray) -> np.ndarray:
    """Where between -0.5 and 0.5 a parabola through three values has its top."""
    bend = left - 2 * here + right
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.clip(np.where(bend < 0, 0.5 * (left - right) / bend, 0.0), -0.5, 0.5)
