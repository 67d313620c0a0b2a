"""One grey picture out of three colours: the mixture in which edges stand out most.

Copper against laminate may differ in brightness (bright copper, dark board), in
colour only (tinned or tarnished copper on brown laminate), or the other way
round from below. So the weights are not fixed: they maximise the energy of the
gradients over the energy of the noise, both measured in the picture itself.
With gradient scatter G and noise scatter N (3 x 3) this is the largest
eigenvector of G w = lambda N w (Fisher's linear discriminant, applied to
differences between neighbours instead of classes).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np


SOFT_PX = 1.5  # blur that leaves edges and takes most of the noise
# Of the colours found where bare board should be, the share that surely are; their scatter is so
# much smaller than that of all, and no better known than by a few grey levels.
CORE_SHARE, CORE_ROUNDS, CORE_GROWN, CORE_FLOOR = 0.6, 5, 2.0, 6.0
MOST_UNLIKE = 1.3  # of the usual copper's distance: beyond, all is as much copper
UNLIKE_SOFT_PX = 0.7
STRIP = 64  # rows: what is worked on at a time stays near the processor


@dataclass(frozen=True, eq=False)
class Grey:
    """image: float32 (H, W), about 0 … 255; noise: one sigma of a pixel in the same unit."""

    image: np.ndarray
    noise: float
    weights: np.ndarray


def _scatter(a: np.ndarray) -> np.ndarray:
    """(3, 3) mean products of the channels of float32 (H, W, 3), of which there are many."""
    return _products([plane.ravel() for plane in cv2.split(a)])


def _products(planes: list[np.ndarray]) -> np.ndarray:
    out = np.empty((3, 3))
    for i in range(3):
        for j in range(i, 3):  # narrow matrices multiply several times slower
            out[i, j] = out[j, i] = planes[i] @ planes[j]
    return out / len(planes[0])


def mixture_weights(image: np.ndarray, step: int = 2, soft: np.ndarray | None = None) -> np.ndarray:
    """Weights (3,) of B, G, R, with |w| summing to 1; image uint8 (H, W, 3).

    soft: the same picture blurred by SOFT_PX, where there is one already
    """
    small = image[::step, ::step].astype(np.float32)
    soft = cv2.GaussianBlur(image, (0, 0), SOFT_PX) if soft is None else soft
    smooth = soft[::step, ::step].astype(np.float32)
    # Saturated pixels carry no colour information, only clipped edges.
    dx = smooth[:, 2:] - smooth[:, :-2]
    dy = smooth[2:] - smooth[:-2]
    signal = _scatter(dx) + _scatter(dy)
    detail = small - smooth
    away = cv2.transform(np.abs(detail), np.ones((1, 3), np.float32))
    # The median keeps real edges out of the noise estimate.
    quiet = away < np.median(away) * 2.0 + 1e-3
    some = quiet.sum() > 100
    noise = _products([plane[quiet] for plane in cv2.split(detail)]) if some else np.eye(3)
    # A floor: an 8-bit pixel is never known better, and JPEG smooths colour.
    noise = noise + np.eye(3) * (1.5 + 0.3 * np.trace(noise) / 3)
    values, vectors = np.linalg.eigh(np.linalg.solve(np.linalg.cholesky(noise), signal)
                                     @ np.linalg.inv(np.linalg.cholesky(noise)).T)
    weights = np.linalg.solve(np.linalg.cholesky(noise).T, vectors[:, -1])
    weights /= np.abs(weights).sum()
    return weights if weights.sum() >= 0 else -weights


def grey_of(image: np.ndarray, weights: np.ndarray | None = None) -> Grey:
    """The best grey picture of a colour picture, uint8 (H, W, 3) or (H, W)."""
    if image.ndim == 2:
        grey = image.astype(np.float32)
        weights = np.array([1 / 3] * 3)
    else:
        weights = mixture_weights(image) if weights is None else weights
        grey = _mixed(image, weights)
    return Grey(grey, noise_of(grey), np.asarray(weights))


def _mixed(image: np.ndarray, weights: np.ndarray) -> np.ndarray:
    row = np.asarray(weights, np.float32).reshape(1, 3)
    grey = np.empty(image.shape[:2], np.float32)
    for top in range(0, len(image), STRIP):
        strip = slice(top, top + STRIP)
        grey[strip] = cv2.transform(image[strip].astype(np.float32), row)
    return grey


def noise_of(grey: np.ndarray) -> float:
    """One sigma of pixel noise, from the median of a Laplacian-like mask.

    The mask [1 -2 1; -2 4 -2; 1 -2 1] (J. Immerkaer, Fast noise variance
    estimation, CVIU 64(2), 1996; from memory) is blind to planes and straight
    edges along the axes; its response has sigma 6 n. The median of the absolute
    response makes it robust where the picture is full of texture.
    """
    part = grey[::2, ::2] if grey.size > 4_000_000 else grey
    mask = np.outer([1, -2, 1], [1, -2, 1]).astype(np.float32)
    response = cv2.filter2D(part, cv2.CV_32F, mask)
    # A median of every ninth is good enough of a large picture, and far quicker.
    some = np.abs(response[1::3, 1::3] if response.size > 500_000 else response)
    return float(max(np.median(some) / 0.6745 / 6.0, 0.3))


def weights_between(copper: np.ndarray, bare: np.ndarray) -> np.ndarray:
    """Weights (3,) of B, G, R that tell two sets of colours (n, 3) apart best.

    Fisher's linear discriminant: the inverse of the scatter within the sets times
    the difference of their means. |w| sums to 1; copper comes out brighter.
    """
    weights, _ = _discriminant(copper, bare)
    total = np.abs(weights).sum()
    return weights / total if total > 1e-9 else np.full(3, 1 / 3)


def colours_apart(some: np.ndarray, others: np.ndarray) -> float:
    """How far two sets of colours (n, 3) are from each other, in sigmas, squared
    (Mahalanobis's distance of their means)."""
    weights, difference = _discriminant(some, others)
    return float(weights @ difference)


def _discriminant(some: np.ndarray, others: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(3,) Fisher's weights, not scaled, and (3,) the difference of the means."""
    within = np.cov(some.T) + np.cov(others.T) + np.eye(3) * 4.0
    difference = some.mean(axis=0) - others.mean(axis=0)
    return np.linalg.solve(within, difference), difference


def second_mixture(soft: np.ndarray, first: np.ndarray) -> np.ndarray:
    """Weights (3,) of the best mixture that is blind to plain brightness changes in `first`.

    soft: uint8 (H, W, 3), the picture blurred by SOFT_PX
    For copper and laminate of the same brightness, which differ in colour alone.
    """
    rest = np.eye(3) - np.outer(first, first) / (first @ first)
    small = soft[::2, ::2].astype(np.float32)
    scatter = _scatter(small[:, 2:] - small[:, :-2]) + _scatter(small[2:] - small[:-2])
    values, vectors = np.linalg.eigh(rest @ scatter @ rest)
    weights = vectors[:, -1]
    return weights / np.abs(weights).sum()


def unlike(image: np.ndarray, bare: np.ndarray, copper: np.ndarray) -> np.ndarray:
    """float32 (H, W), 0 … 100 MOST_UNLIKE: how far each pixel's colour is from the bare board's,
    about 100 where copper is, whether brighter or darker than the board.

    image: uint8 (H, W, 3); bare, copper: colours (n, 3) found where the one and the other should be
    Tinned or tarnished copper mirrors light here and shadow there, so that no mixture of
    colours is brighter on all of it; but the board's own colour is nearly one. The distance is
    Mahalanobis's, by the scatter of the colours nearest to each other, since some of those
    found are no bare board.
    """
    middle, core = np.median(bare, axis=0), bare
    for _ in range(CORE_ROUNDS):
        away = np.abs(bare - middle).sum(axis=1)
        core = bare[away <= np.quantile(away, CORE_SHARE)]
        middle = core.mean(axis=0)
    scatter = CORE_GROWN * np.cov(core.T) + np.eye(3) * CORE_FLOOR
    whiten = np.linalg.cholesky(np.linalg.inv(scatter)).T
    usual = float(np.median(np.linalg.norm((copper - middle) @ whiten.T, axis=1)))
    scale = 100.0 / max(usual, 1e-6)
    table = (scale * np.column_stack([whiten, -whiten @ middle])).astype(np.float32)
    soft = cv2.GaussianBlur(image, (0, 0), UNLIKE_SOFT_PX)
    out = np.empty(image.shape[:2], np.float32)
    for top in range(0, len(image), STRIP):
        strip = slice(top, top + STRIP)
        x, y, z = cv2.split(cv2.transform(soft[strip].astype(np.float32), table))
        np.sqrt(x * x + y * y + z * z, out=out[strip])
    return np.minimum(out, 100.0 * MOST_UNLIKE, out=out)
