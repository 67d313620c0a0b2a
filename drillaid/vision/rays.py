"""Edges along rays that run out from features: where each is, and how opposite ones differ.

How wide edges are blurred decides how wide the filters are that read them: one as
narrow as a sharp edge asks for hears mostly noise where the picture is soft.
"""

from __future__ import annotations

import numpy as np

from drillaid.vision.sampling import sample

NEAR, FAR = 0.5, 1.6  # of the expected radius: where an edge is looked for
FIRST_PX = 0.8  # blur of edges, pixels' own width included, until the picture's is known
BLUR_PX = (0.5, 3.0)  # the least and the most that is believed
PACE_PX = 0.7  # between samples of a ray
SEEN = 3.0  # how far either side of an edge a profile goes, in blurs ...
INMOST, OUTMOST = 0.1, 2.2  # ... but not farther than this, of the expected radius
MATCH = 1.3  # smoothing along the rays, in blurs
WINDOW = 2.5  # within how many blurs opposite profiles are compared
CLEAR = 3.8  # sigma a step stands out of the noise


def profiles(grey, frame, centre, radius, unit_px: float, rays: int, blur_px: float):
    """Brightness along the rays, (N, R, S), the radii (N, S) and unit vectors (R, 2).

    frame: pixel (N, 2) of each place and d px / d place (N, 2, 2); centre: (N, 2) counted
    from the places
    """
    angle = np.arange(rays) * (2 * np.pi / rays)
    out = np.column_stack([np.cos(angle), np.sin(angle)])
    typical_px = np.median(radius) * unit_px
    # A blurred edge wants its foot and its shoulder seen, also of a small feature.
    wide = SEEN * blur_px / typical_px
    near, far = np.clip(1 - wide, INMOST, NEAR), np.clip(1 + wide, FAR, OUTMOST)
    steps = int(np.clip(np.ceil((far - near) * typical_px / PACE_PX), 10, 40))
    radii = radius[:, None] * np.linspace(near, far, steps)[None, :]
    px0, jacobian = frame
    ray = np.einsum("nij,kj->nki", jacobian, out)
    shift = np.einsum("nij,nj->ni", jacobian, centre)
    px = (px0 + shift)[:, None, None, :] + radii[:, None, :, None] * ray[:, :, None, :]
    return sample(grey, px), radii, out


def slopes(count: int, width: np.ndarray) -> np.ndarray:
    """(N, S, S) matrices that take profiles (…, S) to slopes, grey levels over two samples:
    of straight lines fitted about each sample, weighed by a Gaussian of `width` (N,) samples.

    Near the ends the lines are fitted to what there is.
    """
    at = np.arange(count, dtype=np.float32)
    apart = at[:, None] - at[None, :]
    weight = np.exp(-0.5 * (apart / width[:, None, None].astype(np.float32)) ** 2)
    arm = apart - (weight * apart).sum(axis=1, keepdims=True) / weight.sum(axis=1, keepdims=True)
    weight *= arm
    return weight * (2.0 / (weight * arm).sum(axis=1, keepdims=True))


def steepest(values, radii, radius, side, noise: float, width: np.ndarray):
    """Radius (N, R) of the steepest step of the right sign on each ray, whether it is clear,
    and how steep steps are (N,). `width`: (N,) smoothing along the rays, samples."""
    count = values.shape[2]
    kernel = slopes(count, width)
    slope = np.matmul(values, kernel * -side[:, None, None].astype(np.float32))
    loud = noise * np.linalg.norm(kernel[:, :, count // 2], axis=1)
    # Of several steps the one nearest to the expected radius is likelier meant.
    share = radii / radius[:, None]
    likely = np.exp(-4.0 * ((share - 1.0) / (FAR - NEAR)) ** 2) * (share >= NEAR) * (share <= FAR)
    at = (slope * likely[:, None, :].astype(np.float32)).argmax(axis=2)
    inner = np.clip(at, 1, count - 2)
    # A parabola as wide as the smoothing: narrower it hears the noise, wider the feet.
    arm = np.maximum(np.rint(width), 1).astype(int)[:, None]
    arm = np.minimum(arm, np.minimum(inner, count - 1 - inner))
    n, ray = np.indices(at.shape)
    left, peak, right = (slope[n, ray, inner + k * arm] for k in (-1, 0, 1))
    bend = left - 2 * peak + right
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where(bend < 0, 0.5 * (left - right) / bend, 0.0)
    clear = (inner == at) & (peak > CLEAR * loud[:, None]) & (bend < 0)
    typical = np.median(np.where(clear, peak, 0), axis=1, keepdims=True)
    clear &= peak > 0.35 * typical
    index = inner + np.clip(shift, -0.7, 0.7) * arm
    pace = (radii[:, -1:] - radii[:, :1]) / (count - 1)
    return radii[:, :1] + index * pace, clear, typical[:, 0]


def opposite(values, radii, reach, clear, blur: float):
    """Half the differences of opposite edges' distances, (N, R / 2), and how wide the edges
    of each feature are blurred, (N,), NaN where too few are clear; units of `radii`.

    Two profiles alike but moved apart differ by their mean's slope times how far; fitted
    by least squares, one side's being the brighter left free, the weights the slope of an
    edge as wide as `blur`: the best there is against even noise, and no pull at the ends.
    """
    half = reach.shape[1] // 2
    apart = (values[:, :half] - values[:, half:]) / 2
    slope = np.gradient((values[:, :half] + values[:, half:]) / 2, axis=2)
    middle = (reach[:, :half] + reach[:, half:]) / 2
    far = ((radii[:, None, :] - middle[:, :, None]) / blur).astype(np.float32) ** 2
    like = np.exp(-0.5 * far)
    pace = radii[:, 1] - radii[:, 0]
    own = _own_blur(slope, like, clear[:, :half] & clear[:, half:], blur, pace)
    near = np.exp(far * np.float32(-0.5 / WINDOW**2))
    like -= (near * like).sum(axis=2, keepdims=True) / near.sum(axis=2, keepdims=True)
    like *= near
    there = np.einsum("nks,nks->nk", like, slope)
    with np.errstate(divide="ignore", invalid="ignore"):
        return -np.einsum("nks,nks->nk", like, apart) / there * pace[:, None], own


def _own_blur(slope, like, both, blur: float, pace: np.ndarray) -> np.ndarray:
    """(N,) width of the edges, from how much of their slope two windows hold.

    A slope as wide as s fills Gaussians of widths b and b / sqrt(2) in the ratio
    sqrt((2 s^2 + b^2) / (s^2 + b^2)).
    """
    wide = np.einsum("nk,nks,nks->n", both, like, slope)
    narrow = np.einsum("nk,nks,nks->n", both, like**2, slope)
    with np.errstate(divide="ignore", invalid="ignore"):
        square = np.clip((wide / narrow) ** 2, 1.05, 1.95)
    # A difference over two samples is by itself a box of that width.
    variance = blur**2 * (square - 1) / (2 - square) - pace**2 / 3
    return np.where(both.sum(axis=1) >= 5, np.sqrt(np.maximum(variance, 0.0)), np.nan)
