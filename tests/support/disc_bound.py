"""The least error that any measurement of a blurred disc's centre can have."""

from __future__ import annotations

import numpy as np
from scipy.special import ive


def bound_px(radius: float, contrast: float, blur: float, noise: float) -> float:
    """Cramer-Rao bound of one coordinate, for a rim wide against its blur.

    noise / contrast * sqrt(2 blur / (sqrt(pi) radius)): standard theory, our own
    derivation; recomputed by numeric Fisher information.
    """
    return noise / contrast * np.sqrt(2 * blur / (np.sqrt(np.pi) * radius))


def exact_bound_px(radius: float, contrast: float, blur: float, noise: float) -> float:
    """The same for any radius.

    The blurred disc's slope is contrast (radius / blur^2) exp(-(r^2 + radius^2) /
    (2 blur^2)) I1(r radius / blur^2); its square integrates in closed form by Weber's
    second exponential integral (G. N. Watson, Bessel Functions, 13.31; from memory).
    """
    x = radius**2 / (2 * blur**2)
    return noise / contrast / np.sqrt(np.pi * x * ive(1, x))


def blur_with_pixel(blur: float) -> float:
    """Blur by a lens and by a square pixel of width 1, as one sigma: variances add."""
    return float(np.hypot(blur, 1 / np.sqrt(12)))
