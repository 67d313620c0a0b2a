"""Is a picture worth looking at? Light and focus, judged from the picture itself.

All in a picture shrunk to 960 px on its longer side: what matters is how much of
the view is lost, whatever the camera's number of pixels.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.vision.edges import edge_threshold, find_edges
from drillaid.vision.eye import Eye
from drillaid.vision.sampling import along_lines, sample

SMALL_PX = 960
DARK = 60.0  # grey level that the brightest hundredth of a picture does not reach in the dark
WHITE, BURNT = 250, 0.4  # a pixel without any detail left, and the share that is too much
BLURRED_PX = 1.3  # sigma in the shrunk picture; boards are found up to about 1.0
SMEAR_PX, SMEAR_SHAPE = 6.5, 0.45
SHARP_ACROSS = 0.45  # of the smear's width: an edge across the motion cannot be sharper
LEAST_STEP = 30.0  # grey levels; in a picture without higher steps nothing tells the focus
_BINS, _EACH, _FEWEST, _REACH_PX = 12, 500, 20, 9
_GRADIENT_PX = 1.28  # what the gradient's own smoothing adds to an edge's width, in squares


def shrunk(image: np.ndarray) -> np.ndarray:
    """The picture with its longer side at most 960 px; uint8 as given."""
    factor = SMALL_PX / max(image.shape[:2])
    if factor >= 1.0:
        return image
    return cv2.resize(image, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)


def too_dark(small: np.ndarray) -> bool:
    """Is even the brightest part dark? small: uint8 BGR"""
    return float(np.percentile(small.max(axis=2), 99.0)) < DARK


def burnt_out(small: np.ndarray) -> float:
    """The share of the picture that is white, or as good as: two of three colours at their end."""
    return float((np.sort(small, axis=2)[:, :, 1] >= WHITE).mean())


@dataclass(frozen=True)
class Focus:
    """sigma_px: blur of the sharpest edges of any direction; NaN where there are none, or only
    faint ones
    smear_px: length by which edges of one direction are wider, 0 if none is;
    smear_rad: that direction, u to v, modulo half a turn
    """

    sigma_px: float
    smear_px: float = 0.0
    smear_rad: float = 0.0

    @property
    def blurred(self) -> bool:
        return bool(self.sigma_px > BLURRED_PX)

    @property
    def shaken(self) -> bool:
        return self.smear_px > 0


def focus_of(eye: Eye) -> Focus:
    """How wide edges are, by their direction.

    A step under a Gaussian of sigma s px has the slope 1 / (sqrt(2 pi) s) of its height.
    A smear of length L along d widens an edge whose normal makes the angle a with d by
    the variance (L cos a)^2 / 12 and leaves those along d alone; a lens out of focus
    widens all. In each direction the sharper third of the high steps counts: soft
    shadows and round things are always there.
    """
    edges = find_edges(eye.grey, threshold=edge_threshold(eye.grey, eye.noise))
    if len(edges) < 2 * _FEWEST:
        return Focus(float("nan"))
    angle = np.arctan2(edges.normal[:, 1], edges.normal[:, 0]) % np.pi
    which = np.minimum((angle * (_BINS / np.pi)).astype(int), _BINS - 1)
    chosen = [np.nonzero(which == k)[0] for k in range(_BINS)]
    pick = np.concatenate([_strongest(i, edges.strength[i]) for i in chosen])
    t = np.arange(-_REACH_PX, _REACH_PX + 1)
    along = along_lines(edges.px[pick], edges.normal[pick], t)
    height = np.ptp(sample(eye.grey, along), axis=1)
    if np.quantile(height, 0.9) < LEAST_STEP:
        return Focus(float("nan"))
    width2 = (height / (edges.strength[pick] * np.sqrt(2 * np.pi))) ** 2 - _GRADIENT_PX**2
    # Noise and fibres are narrow as well, but low.
    high = height >= max(0.35 * float(np.quantile(height, 0.9)), 10 * eye.noise)
    variance = np.full(_BINS, np.nan)
    for k in range(_BINS):
        part = high & (which[pick] == k)
        if part.sum() >= _FEWEST:
            variance[k] = np.quantile(np.maximum(width2[part], 0.0), 0.3)
    if not np.isfinite(variance).any():
        return Focus(float("nan"))
    length, direction = _smear(variance)
    return Focus(float(np.sqrt(np.nanmin(variance))), length, direction)


def _strongest(index: np.ndarray, strength: np.ndarray) -> np.ndarray:
    """Those of the _EACH highest strengths, in no order."""
    if len(index) <= _EACH:
        return index
    return index[np.argpartition(-strength, _EACH)[:_EACH]]


def _smear(variance: np.ndarray) -> tuple[float, float]:
    """(length px, direction rad) of the motion that explains the variances by direction."""
    known = np.isfinite(variance)
    if known.sum() < 6:
        return 0.0, 0.0
    angle = ((np.arange(_BINS) + 0.5) * np.pi / _BINS)[known]
    seen = variance[known]
    terms = np.column_stack([np.ones(len(angle)), np.cos(2 * angle), np.sin(2 * angle)])
    mean, c, s = np.linalg.lstsq(terms, seen, rcond=None)[0]
    told = terms @ [mean, c, s]
    shape = 1 - np.sum((seen - told) ** 2) / max(float(np.sum((seen - seen.mean()) ** 2)), 1e-9)
    direction = float(np.arctan2(s, c) / 2 % np.pi)
    length = float(np.sqrt(24 * np.hypot(c, s)))
    across = np.abs(np.cos(angle - direction))
    if shape < SMEAR_SHAPE or length < SMEAR_PX or not (across > 0.9).any():
        return 0.0, 0.0
    # Nothing that crosses the motion can be sharp; shadows and grain leave something that is.
    wide = np.sqrt(seen[across > 0.5]) / across[across > 0.5]
    if wide.min() < SHARP_ACROSS * length / np.sqrt(12):
        return 0.0, 0.0
    return length, direction
