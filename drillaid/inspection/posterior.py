"""The circle that the rays' probabilities agree on, with its own doubt.

Every circle of a grid is given the sum over rays of the logarithm of the probability
at its rim (with a floor, so that a clogged or covered stretch outvotes nobody), and
what is known beforehand: the bit's size, and that holes lie about where they should.
The answer is the mean of what is left, its error the spread, which grows where
little of the rim is to be seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import sparse

from drillaid.inspection.rays import ALONG, BINS, RAYS, STEP_MM, TURNS

GROWN = 1.03  # a hand-held board opens a hole up a little beyond its bit
SIZE_SHARE = 0.03  # one sigma of a hole's radius, as a share of its bit's
WANDER_MM = 0.25  # one sigma of a hole's place in each axis; loose
FLOOR = 0.004  # of a ray's probability at a place: what it says is at times wrong
# Neighbouring rays see the same dust and the same pixels: so much of their sum counts.
# Set on simulated boards, as is what no ray shows.
SHARED = 0.25
# Sigmas against the posterior's spread, for a rim on all rays; and by how much they grow for each
# ray that has none. Set on simulated boards of seeds 100 to 207.
CENTRE_SHARE, RADIUS_SHARE = 0.86, 1.12
CENTRE_DOUBT, RADIUS_DOUBT = 10.0, 1.5
NEAR_MM = 0.06  # a ray supports a circle that passes this near what it says


@dataclass(frozen=True, eq=False)
class Circles:
    """xy_mm (N, 2) from each patch's middle; radius_mm (N,); covariance (N, 3, 3);
    support: (N,) share of the rays that have a rim where the circle is; score: (N,) for
    ranking circles of one hole
    """

    xy_mm: np.ndarray
    radius_mm: np.ndarray
    covariance: np.ndarray
    support: np.ndarray
    score: np.ndarray


COARSE = (0.30, 0.05, 5)
FINE = (0.066, 0.011, 9)


def locate(log_odds: np.ndarray, origin_mm, bit_radius_mm: float, grid=COARSE) -> Circles:
    """log_odds: (N, RAYS, BINS + 1) on rays from origin_mm (N, 2)
    grid: how far and how finely places are tried, mm, and how many radii"""
    circles, table = _grid(round(float(bit_radius_mm), 4), *grid)
    origin = np.asarray(origin_mm)
    at = np.log(np.exp(log_odds[..., :BINS]) + FLOOR) - np.log(FLOOR)
    score = SHARED * (table @ at.reshape(len(at), -1).T).T
    score = score - 0.5 * ((circles[:, 2] / bit_radius_mm - GROWN) / SIZE_SHARE) ** 2
    far = ((origin[:, None] + circles[None, :, :2]) ** 2).sum(axis=2)
    score -= 0.5 * far / WANDER_MM**2
    best = score.max(axis=1)
    weight = np.exp(score - best[:, None])
    weight /= weight.sum(axis=1, keepdims=True)
    mean = weight @ circles
    off = circles[None] - mean[:, None]
    covariance = np.einsum("nh,nhi,nhj->nij", weight, off, off)
    support = _support(log_odds, circles[score.argmax(axis=1)], bit_radius_mm)
    # where rays contradict each other those that agree are the less to be believed
    lacking = 1.0 - np.clip(support, 0.0, 1.0)[:, None]
    shares = np.array([CENTRE_SHARE, CENTRE_SHARE, RADIUS_SHARE])
    grow = shares * (1.0 + lacking * np.array([CENTRE_DOUBT, CENTRE_DOUBT, RADIUS_DOUBT]))
    covariance = covariance * grow[:, :, None] * grow[:, None, :]
    return Circles(origin + mean[:, :2], mean[:, 2], covariance, support, best)


@lru_cache(maxsize=64)
def _grid(bit_radius: float, reach: float, step: float, sizes: int):
    """Circles (H, 3) about the origin, and the matrix that sums their rays, (H, RAYS * BINS)."""
    axis = np.arange(-reach, reach + step / 2, step)
    radii = bit_radius * (GROWN + np.linspace(-0.075, 0.075, sizes))
    x, y, r = np.meshgrid(axis, axis, radii, indexing="ij")
    keep = np.hypot(x, y) <= reach + 1e-9
    circles = np.column_stack([x[keep], y[keep], r[keep]])
    index = (rim_along(circles, bit_radius) - ALONG[0]) / STEP_MM
    usable = np.isfinite(index) & (index >= 0) & (index < BINS - 1)
    low = np.where(usable, np.floor(np.nan_to_num(index)), 0).astype(int)
    part = np.where(usable, np.nan_to_num(index) - low, 0.0)
    rows = np.repeat(np.arange(len(circles)), RAYS)
    column = (np.arange(RAYS) * BINS + low).ravel()
    shape = len(circles), RAYS * BINS
    table = sparse.csr_matrix(((1 - part).ravel() * usable.ravel(), (rows, column)), shape)
    table += sparse.csr_matrix((part.ravel() * usable.ravel(), (rows, column + 1)), shape)
    return circles, table


def rim_along(circles: np.ndarray, bit_radius_mm: float) -> np.ndarray:
    """Where rays from (0, 0) meet circles (H, 3), from the expected radius: (H, RAYS), NaN
    where they miss."""
    across = circles[:, :2] @ TURNS.T
    under = circles[:, 2:] ** 2 - ((circles[:, :2] ** 2).sum(axis=1)[:, None] - across**2)
    return across + np.sqrt(np.where(under > 0, under, np.nan)) - GROWN * bit_radius_mm


def _support(log_odds, circles, bit_radius_mm: float) -> np.ndarray:
    rim = rim_along(circles, bit_radius_mm)
    near = np.abs(ALONG - rim[..., None]) <= NEAR_MM
    return (np.exp(log_odds[..., :BINS]) * near).sum(axis=2).mean(axis=1)
