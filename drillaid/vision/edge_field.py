"""The directions of all edges of a picture as one field, blind to what is bright and what is dark.

A gradient at angle a becomes the complex number exp(2 i a): twice the angle, so that the
two sides of a dark line agree, and copper may be brighter than the board here and darker
there. (Doubled angles: G. Granlund, Computer Graphics and Image Processing 8(2), 1978;
from memory.) Each gradient counts against those round about it, so that glare, wood grain
and a bright screw do not drown the faint edges of tarnished copper.
"""

from __future__ import annotations

import cv2
import numpy as np

from drillaid.vision.channel import mixture_weights, second_mixture

SMOOTH_MM = 0.15  # the narrowest gaps between tracks survive this
ROUND_ABOUT_MM = 8.0  # a gradient is weighed against the others within this
DARKEST = 12.0  # grey levels added before a logarithm: noise in shadows is no colour
USUAL = 3.0  # times the median energy are taken for noise
FULL = 4.0  # times the mean energy round about from which an edge counts in full


def edge_field(image: np.ndarray, valid: np.ndarray, px_per_mm: float) -> np.ndarray:
    """complex64 (H, W), |value| at most 1: cos 2a + i sin 2a, a from x right to y UP.

    image: uint8 BGR (H, W, 3), a plane seen from straight above; valid: uint8 (H, W), 0
    where nothing was photographed; px_per_mm: or per any unit a land is a few of
    """
    inside = cv2.erode(valid, np.ones((5, 5), np.uint8)) > 0
    total = np.zeros((*image.shape[:2], 2), np.float32)
    channels = _channels(image)
    for grey in channels:
        total += _directions(grey, inside, px_per_mm)
    total *= (inside / len(channels))[..., None].astype(np.float32)
    return total.view(np.complex64)[..., 0]


def _channels(image: np.ndarray) -> list[np.ndarray]:
    """The two best mixtures of colours and two ratios of them, which light does not change."""
    plain = image.astype(np.float32)
    first = mixture_weights(image, step=4)
    mixtures = np.array([first, second_mixture(image, first)], np.float32)
    colour = np.array([[-1.0, 0.0, 1.0], [-0.5, 1.0, -0.5]], np.float32)
    ratios = cv2.transform(cv2.log(plain + np.float32(DARKEST)), colour)
    mixed = cv2.transform(plain, mixtures)
    return [mixed[..., 0], mixed[..., 1], ratios[..., 0], ratios[..., 1]]


def _directions(grey: np.ndarray, inside: np.ndarray, px_per_mm: float) -> np.ndarray:
    """float32 (H, W, 2): cos and sin of twice the gradient's angle, weighted by its strength."""
    soft = cv2.GaussianBlur(grey, (0, 0), max(SMOOTH_MM * px_per_mm, 0.7))
    dx = cv2.Scharr(soft, cv2.CV_32F, 1, 0)
    up = -cv2.Scharr(soft, cv2.CV_32F, 0, 1)
    energy = dx * dx + up * up
    size = int(ROUND_ABOUT_MM * px_per_mm) | 1
    about = cv2.blur(energy, (size, size))
    usual = float(np.median(energy[::4, ::4][inside[::4, ::4]])) if inside.any() else 0.0
    about = np.maximum(about, usual) * FULL + 1e-6
    # In most places there is no edge, so the usual energy is that of noise and grain.
    clear = np.maximum(energy - USUAL * usual, 0.0)
    weight = np.minimum(clear / about, 1.0) / (energy + 1e-9)
    return np.dstack([(dx * dx - up * up) * weight, 2 * dx * up * weight])
