"""The circle that the rays' probabilities agree on, with its own doubt.

Every circle of a grid is given the sum over rays of the logarithm of the probability
at its rim (with a floor, so that a clogged or covered stretch outvotes nobody), and
what is known beforehand: holes are most often as large as the bit that was asked for, at
times as another, and lie about where they should.
The answer is the mean of what is left, its error the spread, which grows where
little of the rim is to be seen.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import lru_cache

import numpy as np
from scipy import sparse

from drillaid.inspection.rays import ALONG, BINS, RAYS, STEP_MM, TURNS

GROWN = 1.03  # a hand-held board opens a hole up a little beyond its bit
SIZE_SHARE = 0.03  # one sigma of a hole's radius, as a share of its bit's
# How much likelier a hole is as large as its bit asks than any one other size: what another
# bit made is told where rims say so plainly, but no dust or wall makes a hole small.
OTHER_BIT = 1e-4
WANDER_MM = 0.25  # one sigma of a hole's place in each axis; loose
FLOOR = 0.004  # of a ray's probability at a place: what it says is at times wrong
# Neighbouring rays see the same dust and the same pixels: so much of their sum counts.
# Set on simulated boards, as is what no ray shows.
SHARED = 0.25
# Sigmas against the posterior's spread, for a rim on all rays; and by how much they grow for each
# ray that has none. Set on simulated boards of seeds 100 to 207.
CENTRE_SHARE, RADIUS_SHARE = 0.86, 1.12
CENTRE_DOUBT, RADIUS_DOUBT = 10.0, 1.5
# What a lit wall, a burr or a lens adds beside what rays show, by axis and of the radius: one
# sigma, squared. On boards drawn apart from the simulator errors of the best seen holes are larger.
FLOOR_MM2 = np.diag([0.0035**2, 0.0035**2, 0.003**2])
# Where few rays show a rim the size is the bit's for want of a better one, and boards are drilled
# with other bits too: one sigma of the radius where no ray does, by the square of the share that
# does not (20 boards drilled in part with other bits: diameters were stated 0.40 of the real).
ANY_BIT_MM = 0.3
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


@dataclass(frozen=True)
class Grid:
    """What circles are tried. reach_mm, step_mm: of their middles; wider_mm: their radii beside
    the one that is expected, or that was found before"""

    reach_mm: float
    step_mm: float
    wider_mm: tuple[float, ...]


COARSE = Grid(0.30, 0.05, (-0.19, -0.15, -0.11, -0.07, -0.03, 0.0, 0.03, 0.07, 0.11, 0.15, 0.19, 0.23, 0.27))
MIDDLING = Grid(0.12, 0.03, (-0.04, -0.02, 0.0, 0.02, 0.04))
FINE = Grid(0.066, 0.011, tuple(np.linspace(-0.038, 0.038, 9)))
RADIUS_STEP_MM = 0.02  # radii about which circles are tried; one table for all of a step
SMALLEST_MM = 0.15


def locate(
    log_odds: np.ndarray, origin_mm, bit_radius_mm: float, grid: Grid = COARSE, radius_mm=None
) -> Circles:
    """log_odds: (N, RAYS, BINS + 1) on rays from origin_mm (N, 2)
    radius_mm: (N,) as found before; None where the bit's is all that is known"""
    origin = np.asarray(origin_mm)
    at = np.log(np.exp(log_odds[..., :BINS]) + FLOOR) - np.log(FLOOR)
    bit = round(float(bit_radius_mm), 4)
    if radius_mm is None:
        return _located(log_odds, at, origin, bit, grid, 0)
    steps = np.rint((np.asarray(radius_mm) - GROWN * bit) / RADIUS_STEP_MM).astype(int)
    found = [(steps == k, k) for k in np.unique(steps)]
    parts = [(here, _located(log_odds[here], at[here], origin[here], bit, grid, k)) for here, k in found]
    return _together(len(origin), parts)


def _together(count: int, parts: list[tuple[np.ndarray, Circles]]) -> Circles:
    names = [f.name for f in fields(Circles)]
    whole = {n: np.empty((count, *getattr(parts[0][1], n).shape[1:])) for n in names}
    for here, some in parts:
        for name in names:
            whole[name][here] = getattr(some, name)
    return Circles(**whole)


def _size_log_odds(radius: np.ndarray, bit_radius: float) -> np.ndarray:
    usual = np.exp(-0.5 * ((radius / bit_radius - GROWN) / SIZE_SHARE) ** 2)
    return np.log(usual + OTHER_BIT)


def _located(log_odds, at, origin, bit_radius_mm: float, grid: Grid, steps: int) -> Circles:
    circles, table = _grid(bit_radius_mm, grid, steps)
    score = SHARED * (table @ at.reshape(len(at), -1).T).T
    score = score + _size_log_odds(circles[:, 2], bit_radius_mm)
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
    covariance = covariance * grow[:, :, None] * grow[:, None, :] + FLOOR_MM2
    covariance[:, 2, 2] += (ANY_BIT_MM * lacking[:, 0] ** 2) ** 2
    return Circles(origin + mean[:, :2], mean[:, 2], covariance, support, best)


@lru_cache(maxsize=128)
def _grid(bit_radius: float, grid: Grid, steps: int):
    """Circles (H, 3) about the origin, and the matrix that sums their rays, (H, RAYS * BINS).

    steps: of RADIUS_STEP_MM from the expected radius to the one about which radii are tried
    """
    reach = grid.reach_mm
    axis = np.arange(-reach, reach + grid.step_mm / 2, grid.step_mm)
    radii = GROWN * bit_radius + steps * RADIUS_STEP_MM + np.array(grid.wider_mm)
    radii = radii[radii >= min(SMALLEST_MM, bit_radius)]
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
