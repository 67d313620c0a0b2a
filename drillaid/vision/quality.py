"""Is a picture worth looking at? Light and focus, judged from the picture itself."""

from __future__ import annotations

import numpy as np

from drillaid.vision.edges import edge_threshold, find_edges
from drillaid.vision.eye import Eye
from drillaid.vision.sampling import sample

DARK = 12.0  # mean grey level below which a picture shows nothing
GLARING = 245.0  # and above which it is burnt out
BLURRED = 0.15  # an edge under a Gaussian of 2.5 px; sharp pictures have 0.2 and more
STRONGEST, REACH_PX = 4000, 6


def sharpness(eye: Eye) -> float:
    """How much of an edge's step happens within one pixel, the median over strong edges.

    A step under a Gaussian of sigma s px has the slope 1 / (sqrt(2 pi) s) of its height;
    the gradient itself is taken under a smoothing of 1 px. NaN where there is no edge.
    """
    edges = find_edges(eye.grey, threshold=edge_threshold(eye.grey, eye.noise))
    if not len(edges):
        return float("nan")
    best = np.argsort(-edges.strength)[:STRONGEST]
    t = np.arange(-REACH_PX, REACH_PX + 1)
    along = edges.px[best][:, None, :] + edges.normal[best][:, None, :] * t[None, :, None]
    values = sample(eye.grey, along)
    height = np.maximum(np.ptp(values, axis=1), 1e-6)
    return float(np.median(edges.strength[best] / height))


def trouble(eye: Eye) -> str | None:
    """What is wrong with the picture and what to do, or None: a sentence without a full stop."""
    if float(eye.grey.mean()) < DARK:
        return "The picture is almost black: take off the lens cap and switch on the light"
    if float(eye.grey.mean()) > GLARING:
        return "The picture is burnt out: give less light or a shorter exposure"
    sharp = sharpness(eye)
    if np.isfinite(sharp) and sharp < BLURRED:
        return (
            "The picture is out of focus or shaken: focus on the board's copper and let it lie "
            "still; water or a scratched cover in front of it looks the same"
        )
    return None
