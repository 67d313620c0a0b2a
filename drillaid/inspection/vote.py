"""Where holes of about a bit's size may lie in a stack of patches.

Two kinds of evidence, each for every centre and radius: that the disc is unlike this
pad's copper and the belt about it is like it; and that there is an edge all round. Each gradient votes by twice its direction, so that dark, bright and half-lit holes
count alike: at a rim the gradient points along the radius, whichever way round.
All centres and radii of all patches are compared at once by Fourier transforms.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy import fft

from drillaid.inspection.patch import Stack

EDGE_MM = 0.12  # about the land's own edge gradients count less,
EDGE_SHARE = 0.35  # by this
BELT_MM = (0.06, 0.28)  # outside the rim, where there is copper again
UNUSUAL_MM, MOST_UNUSUAL = 0.05, 3.0  # of a radius, to break ties
WANDER_MM = 0.45  # one sigma of how far a hole may lie off; loose, to break ties only


@dataclass(frozen=True, eq=False)
class Votes:
    """Of N patches K circles each, best first.

    xy_mm: (N, K, 2) in each patch's own axes, from its middle; radius_mm: (N, K)
    score: (N, K), the sum of both kinds of evidence, each at most 1
    """

    xy_mm: np.ndarray
    radius_mm: np.ndarray
    score: np.ndarray


def vote(
    stack: Stack, strange, trusted, radii_mm, reach_mm, noise: float, *, keep: int = 2,
    usual_mm: float | None = None,
) -> Votes:  # fmt: skip
    """strange: (N, S, S) 0 … 1, how unlike its pad's copper each pixel is; trusted: bool,
    where that tells anything (in the land and in the picture)
    radii_mm: to look for; reach_mm: (N,) how far from each patch's middle; usual_mm: the
    likeliest radius, without it their mean."""
    count, size = len(stack.images), stack.size
    reach_px = 2 * (max(radii_mm) + BELT_MM[1]) * stack.px_per_mm
    padded = fft.next_fast_len(size + int(reach_px) + 8, real=True)
    weight = trusted.astype(np.float32)
    fields = [*_double_angle(stack, noise), (strange * weight).astype(np.float32), weight]
    spectra = [fft.rfft2(f, (padded, padded)) for f in fields]
    far = np.hypot(*stack.axes_mm())
    allowed = far[None] <= np.asarray(reach_mm)[:, None, None]
    scores = np.empty((count, len(radii_mm), size, size), np.float32)
    for k, radius in enumerate(radii_mm):
        ring, disc, belt = _kernels(radius, stack.px_per_mm, padded)

        def across(spectrum):
            return fft.irfft2(spectrum, (padded, padded))[:, :size, :size]

        edge = across(spectra[0] * ring[0] + spectra[1] * ring[1])
        within, within_seen = across(spectra[2] * disc), across(spectra[3] * disc)
        beside, beside_seen = across(spectra[2] * belt), across(spectra[3] * belt)
        # shares of a disc or belt of which little is to be seen tell little
        area = within / np.maximum(within_seen, 0.3) - beside / np.maximum(beside_seen, 0.3)
        scores[:, k] = edge + area
    prior = (0.25 * (far / WANDER_MM) ** 2).astype(np.float32)
    scores = np.where(allowed[:, None], scores - 0.5 * prior, -9.0)
    usual = np.mean(radii_mm) if usual_mm is None else usual_mm
    away = (np.asarray(radii_mm) - usual) / UNUSUAL_MM
    scores -= (0.05 * np.minimum(away**2, MOST_UNUSUAL))[None, :, None, None].astype(np.float32)
    return _peaks(scores, np.asarray(radii_mm), stack, keep)


def _double_angle(stack: Stack, noise: float) -> tuple[np.ndarray, np.ndarray]:
    """Gradient energy turned to twice its angle, summed over colours, evened out, (N, S, S)."""
    gx = np.empty_like(stack.images)
    gy = np.empty_like(stack.images)
    for i, image in enumerate(stack.images):
        image = cv2.GaussianBlur(image, (0, 0), 0.8)
        gx[i] = cv2.Scharr(image, cv2.CV_32F, 1, 0, scale=1 / 32)
        gy[i] = cv2.Scharr(image, cv2.CV_32F, 0, 1, scale=1 / 32)
    even = ((gx - gy) * (gx + gy)).sum(axis=3)
    odd = 2 * (gx * gy).sum(axis=3)
    size = np.sqrt(np.hypot(even, odd))
    # a rim in dark resist is a weak edge, and neither glare nor a burr may outvote it
    limit = np.maximum(np.percentile(size, 75, axis=(1, 2), keepdims=True), 1.5 * noise)
    share = np.minimum(size / limit, 1.0) / np.maximum(size, 1e-6) ** 2
    share *= stack.inside * np.where(np.abs(stack.depth_mm) < EDGE_MM, EDGE_SHARE, 1.0)
    return (even * share).astype(np.float32), (odd * share).astype(np.float32)


def _kernels(radius_mm: float, scale: float, padded: int):
    """Conjugate spectra of a ring weighted by cosine and sine of twice the angle, of the
    disc within and of the belt outside; each adds up to 1."""
    axis = np.arange(padded)
    axis = np.where(axis > padded // 2, axis - padded, axis).astype(np.float32)
    x, y = axis[None, :], axis[:, None]
    distance = np.maximum(np.hypot(x, y), 1e-6)
    radius = radius_mm * scale
    ring = np.exp(-0.5 * ((distance - radius) / 0.9) ** 2)
    ring = ring / ring.sum() / distance**2
    disc = np.clip(radius - distance - 0.3, 0, 1)
    low, high = (radius_mm + b for b in BELT_MM)
    belt = np.clip(distance - low * scale + 0.5, 0, 1) * np.clip(high * scale - distance + 0.5, 0, 1)

    def spectrum(kernel):
        return np.conj(fft.rfft2(kernel.astype(np.float32)))

    turned = tuple(spectrum(ring * part) for part in (x * x - y * y, 2 * x * y))
    return turned, spectrum(disc / disc.sum()), spectrum(belt / belt.sum())


def _peaks(scores: np.ndarray, radii, stack: Stack, keep: int) -> Votes:
    count = len(scores)
    xy, radius = np.zeros((count, keep, 2)), np.zeros((count, keep))
    best = np.zeros((count, keep))
    axes = stack.axes_mm()
    row = np.arange(count)
    for k in range(keep):
        flat = scores.reshape(count, -1)
        at = flat.argmax(axis=1)
        best[:, k] = flat[row, at]
        which, v, u = np.unravel_index(at, scores.shape[1:])
        radius[:, k] = radii[which]
        xy[:, k] = np.column_stack([axes[0][0, u], axes[1][v, 0]])
        if k + 1 < keep:
            near = np.hypot(
                axes[0][None] - xy[:, k, 0, None, None], axes[1][None] - xy[:, k, 1, None, None]
            ) < 0.15
            scores = np.where(near[:, None], -9.0, scores)
    return Votes(xy, radius, best)
