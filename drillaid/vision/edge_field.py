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

from drillaid.processors import side_by_side
from drillaid.vision.channel import SOFT_PX, mixture_weights, second_mixture

SMOOTH_MM = 0.15  # the narrowest gaps between tracks survive this
ROUND_ABOUT_MM = 8.0  # a gradient is weighed against the others within this
DARKEST = 12.0  # grey levels added before a logarithm: noise in shadows is no colour
USUAL = 3.0  # times the median energy are taken for noise
_LOGARITHMS = np.log(np.arange(256) + DARKEST).astype(np.float32)
WORTH_THREADS = 200_000  # pixels
FULL = 4.0  # times the mean energy round about from which an edge counts in full


def edge_field(image: np.ndarray, valid: np.ndarray, px_per_mm: float) -> np.ndarray:
    """complex64 (H, W), |value| at most 1: cos 2a + i sin 2a, a from x right to y UP.

    image: uint8 BGR (H, W, 3), a plane seen from straight above; valid: uint8 (H, W), 0
    where nothing was photographed; px_per_mm: or per any unit a land is a few of
    """
    inside = cv2.erode(valid, np.ones((5, 5), np.uint8)) > 0
    channels = _channels(image)

    def directions(some: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
        cos, sin = (np.zeros(image.shape[:2], np.float32) for _ in range(2))
        for grey in some:
            _add_directions(cos, sin, grey, inside, px_per_mm)
        return cos, sin

    halves, worth_it = [channels[:2], channels[2:]], inside.size >= WORTH_THREADS
    (cos, sin), (more_cos, more_sin) = side_by_side(directions, halves, worth_it=worth_it)
    share = inside * np.float32(1 / len(channels))
    cos, sin = (cos + more_cos) * share, (sin + more_sin) * share
    return cv2.merge([cos, sin]).view(np.complex64)[..., 0]


def _channels(image: np.ndarray) -> list[np.ndarray]:
    """The two best mixtures of colours and two ratios of them, which light does not change."""
    soft = cv2.GaussianBlur(image, (0, 0), SOFT_PX)
    first = mixture_weights(image, step=4, soft=soft)
    plain, logarithms = image.astype(np.float32), cv2.LUT(image, _LOGARITHMS)
    return [
        # one at a time: the library is several times slower at two of three
        cv2.transform(values, np.array([weights], np.float32))
        for values, weights in (
            (plain, first),
            (plain, second_mixture(soft, first)),
            (logarithms, (-1.0, 0.0, 1.0)),
            (logarithms, (-0.5, 1.0, -0.5)),
        )
    ]


def _add_directions(total_cos, total_sin, grey, inside, px_per_mm: float) -> None:
    """Adds to float32 (H, W) cos and sin of twice the gradient's angle, weighted by its
    strength. In place where it can be: of so large arrays a new one costs as much as what
    is worked out in it."""
    soft = cv2.GaussianBlur(grey, (0, 0), max(SMOOTH_MM * px_per_mm, 0.7))
    dx = cv2.Scharr(soft, cv2.CV_32F, 1, 0)
    up = cv2.Scharr(soft, cv2.CV_32F, 0, 1, scale=-1.0)
    sin = cv2.multiply(dx, up, scale=2.0)
    cv2.multiply(dx, dx, dst=dx)
    cv2.multiply(up, up, dst=up)
    energy, cos = cv2.add(dx, up), cv2.subtract(dx, up, dst=dx)
    size = int(ROUND_ABOUT_MM * px_per_mm) | 1
    about = cv2.blur(energy, (size, size), dst=up)
    usual = float(np.median(energy[::4, ::4][inside[::4, ::4]])) if inside.any() else 0.0
    np.maximum(about, usual, out=about)
    about *= FULL
    about += 1e-6
    # In most places there is no edge, so the usual energy is that of noise and grain.
    weight = np.subtract(energy, USUAL * usual, out=soft)
    np.maximum(weight, 0.0, out=weight)
    weight /= about
    np.minimum(weight, 1.0, out=weight)
    energy += 1e-9
    weight /= energy
    cv2.accumulateProduct(cos, weight, total_cos)
    cv2.accumulateProduct(sin, weight, total_sin)
