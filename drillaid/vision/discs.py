"""Round things of unknown size: pads, etched centre marks and drilled holes alike.

Every thin edge point votes for the centres of circles on which it could lie: at
distance r along its normal, on the bright and on the dark side apart (a bright
pad on dark laminate and a dark hole in bright copper are different things). The
picture is halved repeatedly, so that on each level only radii of one octave are
tried and the tolerance is a fixed share of the radius. (The idea is that of the
circular Hough transform with gradient directions: Kimme, Ballard, Sklansky,
Comm. ACM 18(2), 1975; from memory.)

A vote count is turned into a coverage: how much of the circle is there. Squares,
oblongs and pads half swallowed by a track still cover a good part.
"""

from __future__ import annotations

import cv2
import numpy as np

from drillaid.vision.channel import noise_of
from drillaid.vision.edges import Edges, edge_threshold, find_edges

RADII_PX = (3.0, 3.6, 4.3, 5.1)  # one octave less one step, on each level


def _votes(edges: Edges, radius: float, side: float) -> np.ndarray:
    height, width = edges.shape
    centre = edges.px + edges.normal * (side * radius)
    u = np.rint(centre[:, 0]).astype(np.int64)
    v = np.rint(centre[:, 1]).astype(np.int64)
    inside = (u >= 0) & (u < width) & (v >= 0) & (v < height)
    flat = v[inside] * width + u[inside]
    return np.bincount(flat, minlength=width * height).reshape(height, width).astype(np.float32)


def _peaks(coverage: np.ndarray, least: float) -> np.ndarray:
    """(K, 2) px of the local maxima over 5 x 5 of at least `least`."""
    top = cv2.dilate(coverage, np.ones((5, 5), np.uint8))
    v, u = np.nonzero((coverage >= top) & (coverage >= least))
    return np.column_stack([u, v])


def _level(grey: np.ndarray, least: float) -> np.ndarray:
    """Rows (u, v, radius, side, coverage) on one level of the pyramid."""
    edges = find_edges(grey, threshold=edge_threshold(grey, noise_of(grey)))
    rows = []
    for side in (1.0, -1.0):
        stack = []
        for radius in RADII_PX:
            votes = cv2.GaussianBlur(_votes(edges, radius, side), (0, 0), 0.9)
            # A whole circle puts 2 pi r thin edge points into the blurred
            # peak, of which a Gaussian of sigma 0.9 keeps the share below.
            stack.append(votes * (2 * np.pi * 0.9**2 + 2.0) / (2 * np.pi * radius))
        stack = np.array(stack)
        best = stack.max(axis=0)
        which = stack.argmax(axis=0)
        px = _peaks(best, least)
        if len(px):
            u, v = px.T
            rows.append(
                np.column_stack(
                    [u, v, np.array(RADII_PX)[which[v, u]], np.full(len(u), side), best[v, u]]
                )
            )
    return np.concatenate(rows) if rows else np.zeros((0, 5))


def find_discs(
    grey: np.ndarray, *, radius_px: tuple[float, float], least: float = 0.35, limit: int = 3000
) -> np.ndarray:
    """Candidates, best first: rows (u, v, radius_px, side, coverage), float64 (K, 5).

    grey: float32 (H, W); radius_px: smallest and largest radius wanted
    side: +1 bright inside, -1 dark inside
    coverage: about the share of the circle that has an edge (may pass 1)
    """
    rows, factor, level = [], 1.0, grey
    while min(level.shape) >= 24:
        low, high = RADII_PX[0] * factor * 0.85, RADII_PX[-1] * factor * 1.2
        if low > radius_px[1]:
            break
        if high >= radius_px[0]:
            found = _level(level, least)
            # Centre of a coarse pixel in the coordinates of the finest level.
            found[:, :2] = (found[:, :2] + 0.5) * factor - 0.5
            found[:, 2] *= factor
            rows.append(found)
        level = cv2.resize(level, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        factor *= 2.0
    if not rows:
        return np.zeros((0, 5))
    rows = np.concatenate(rows)
    keep = (rows[:, 2] >= radius_px[0] * 0.8) & (rows[:, 2] <= radius_px[1] * 1.2)
    rows = rows[keep]
    return rows[np.argsort(-rows[:, 4], kind="stable")][:limit]
