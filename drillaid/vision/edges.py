"""Thin edges with their directions: what pads, holes, tracks and board edges leave."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np


@dataclass(frozen=True, eq=False)
class Edges:
    """K edge points of one grey picture.

    px: (K, 2) float32; normal: (K, 2) unit vectors from dark to bright;
    strength: (K,) grey levels per px
    """

    px: np.ndarray
    normal: np.ndarray
    strength: np.ndarray
    shape: tuple[int, int]

    def __len__(self) -> int:
        return len(self.px)


def find_edges(grey: np.ndarray, *, threshold: float, smooth_px: float = 1.0) -> Edges:
    """Edge points of a float32 grey picture, thinned to one pixel.

    threshold: smallest gradient in grey levels per px that counts
    """
    soft = cv2.GaussianBlur(grey, (0, 0), smooth_px) if smooth_px > 0 else grey
    # The 3 x 3 Scharr masks have unit gain 32; 16-bit derivatives for the
    # thinning step keep 1/64 of a grey level.
    dx = cv2.Scharr(soft, cv2.CV_32F, 1, 0, scale=1 / 32)
    dy = cv2.Scharr(soft, cv2.CV_32F, 0, 1, scale=1 / 32)
    gain = 64.0
    dx16 = np.clip(dx * gain, -32767, 32767).astype(np.int16)
    dy16 = np.clip(dy * gain, -32767, 32767).astype(np.int16)
    level = threshold * gain
    thin = cv2.Canny(dx16, dy16, level, level, L2gradient=True)
    where = cv2.findNonZero(thin)  # a third of np.nonzero's time
    u, v = np.zeros((2, 0), np.intp) if where is None else where.reshape(-1, 2).T.astype(np.intp)
    gx, gy = dx[v, u], dy[v, u]
    strength = np.hypot(gx, gy)
    normal = np.column_stack([gx, gy]) / np.maximum(strength, 1e-6)[:, None]
    px = np.column_stack([u, v]).astype(np.float32)
    return Edges(px, normal.astype(np.float32), strength.astype(np.float32), grey.shape[:2])


def edge_threshold(grey: np.ndarray, noise: float, smooth_px: float = 1.0) -> float:
    """A gradient that noise alone reaches in about one pixel of a thousand.

    White noise n after a Gaussian of sigma s has a gradient component of sigma
    n / (sqrt(8 pi) s^2); its length is Rayleigh distributed. JPEG and the
    camera's own smoothing make real noise softer, so a share of the strongest
    gradients of the picture is a second lower limit.
    """
    sigma = noise / (np.sqrt(8 * np.pi) * smooth_px**2)
    by_noise = 3.7 * sigma
    small = cv2.GaussianBlur(grey[::2, ::2], (0, 0), 1.0)
    dx = cv2.Scharr(small, cv2.CV_32F, 1, 0, scale=1 / 64)
    dy = cv2.Scharr(small, cv2.CV_32F, 0, 1, scale=1 / 64)
    strong = np.percentile(np.sqrt(dx * dx + dy * dy), 99.5)
    return float(max(by_noise, 0.08 * strong, 0.4))
