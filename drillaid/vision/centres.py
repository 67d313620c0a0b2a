"""Exact centres of round or evenly shaped features near places where they are expected.

Rays run out from each place; on each the step in brightness of the right sign is
found to a fraction of a pixel. A shape that looks the same after half a turn (a
disc, square, oblong, octagon, and the ellipse a disc becomes under tilt) has its
steps on two opposite rays equally far out; half the difference is how far the
centre is off along the edge's normal. Pairs that disagree (a track leaves there,
a finger covers it, the neighbour pad touches) are left out by their residual.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.vision.sampling import sample

RAYS = 48  # even, so that each has its opposite
NEAR, FAR = 0.5, 1.6  # of the expected radius: where an edge is looked for
SIZE = 0.3  # how much larger or smaller than asked a feature may be
ROUGH = 0.28  # how far a ray's edge may be from the median, as a share of it
FLOOR_PX = 0.02  # what sampling and the model leave, whatever the picture


@dataclass(frozen=True, eq=False)
class Centres:
    """Aligned with the places asked for; `found` tells which rows mean anything.

    xy: (N, 2) in the coordinates of the places; sigma: (N,) of each coordinate,
    same unit; radius: (N,) median over the rays; cover: (N,) 0 … 1 share of
    opposite pairs that agree; side: (N,) +1 bright inside, -1 dark inside;
    step: (N,) how much brightness changes at the edge, grey levels over two samples
    """

    xy: np.ndarray
    sigma: np.ndarray
    radius: np.ndarray
    cover: np.ndarray
    side: np.ndarray
    step: np.ndarray
    found: np.ndarray


def _profiles(grey, frame, centre, radius, unit_px, rays):
    """Brightness along the rays, (N, R, S), the radii (N, S) and unit vectors (R, 2)."""
    angle = np.arange(rays) * (2 * np.pi / rays)
    out = np.column_stack([np.cos(angle), np.sin(angle)])
    steps = int(np.clip(np.ceil((FAR - NEAR) * np.median(radius) * unit_px / 0.7), 10, 40))
    radii = radius[:, None] * np.linspace(NEAR, FAR, steps)[None, :]
    px0, jacobian = frame
    ray = np.einsum("nij,kj->nki", jacobian, out)
    shift = np.einsum("nij,nj->ni", jacobian, centre)
    px = (px0 + shift)[:, None, None, :] + radii[:, None, :, None] * ray[:, :, None, :]
    return sample(grey, px), radii, out


def _frames(to_px, places: np.ndarray, reach: np.ndarray):
    """Pixel of each place and d px / d place there, by central differences over `reach`:
    over a pad the map is as good as linear, and its second order cancels."""
    n = len(places)
    step = reach[:, None] * np.array([1.0, 0.0]), reach[:, None] * np.array([0.0, 1.0])
    probe = np.concatenate([places + step[0], places - step[0], places + step[1], places - step[1]])
    px = to_px(probe)
    dx = (px[:n] - px[n : 2 * n]) / (2 * reach[:, None])
    dy = (px[2 * n : 3 * n] - px[3 * n :]) / (2 * reach[:, None])
    return to_px(places), np.stack([dx, dy], axis=2)


def _steps(values: np.ndarray, side: np.ndarray, noise: float):
    """Index (fractional) of the steepest step of the right sign on each ray, and whether clear."""
    slope = values[:, :, 2:] - values[:, :, :-2]
    slope = -slope * side[:, None, None]  # bright inside falls outwards
    # A blur along the ray against texture; the edge is at least this wide anyway.
    slope[:, :, 1:-1] = 0.25 * slope[:, :, :-2] + 0.5 * slope[:, :, 1:-1] + 0.25 * slope[:, :, 2:]
    # Of several steps the one nearest to the expected radius is likelier meant.
    middle = (1.0 - NEAR) / (FAR - NEAR) * (values.shape[2] - 1) - 1.0
    far = (np.arange(slope.shape[2]) - middle) / slope.shape[2]
    at = (slope * np.exp(-4.0 * far**2)).argmax(axis=2)
    n, rays = np.indices(at.shape)
    inner = np.clip(at, 1, slope.shape[2] - 2)
    left, peak, right = (slope[n, rays, inner + k] for k in (-1, 0, 1))
    bend = left - 2 * peak + right
    with np.errstate(divide="ignore", invalid="ignore"):
        shift = np.where(bend < 0, 0.5 * (left - right) / bend, 0.0)
    clear = (inner == at) & (peak > 3.0 * noise) & (bend < 0)
    typical = np.median(np.where(clear, peak, 0), axis=1, keepdims=True)
    clear &= peak > 0.35 * typical
    return inner + 1 + np.clip(shift, -0.7, 0.7), clear, typical[:, 0]


def _median_where(values: np.ndarray, mask: np.ndarray, empty: np.ndarray | float) -> np.ndarray:
    """Row medians over the masked entries; `empty` where a row has none."""
    ordered = np.sort(np.where(mask, values, np.inf), axis=1)
    count = mask.sum(axis=1)
    rows = np.arange(len(values))
    low = ordered[rows, np.maximum((count - 1) // 2, 0)]
    high = ordered[rows, np.minimum(count // 2, values.shape[1] - 1)]
    with np.errstate(invalid="ignore"):
        middle = (low + high) / 2
    return np.where(count > 0, middle, empty)


def _solve(reach: np.ndarray, clear: np.ndarray, out: np.ndarray, asked: np.ndarray):
    """Shift of the centre, its sigma, radius and cover from edge distances (N, RAYS)."""
    half = reach.shape[1] // 2
    both = clear[:, :half] & clear[:, half:]
    difference = (reach[:, :half] - reach[:, half:]) / 2
    mean = (reach[:, :half] + reach[:, half:]) / 2
    radius = _median_where(mean, both, asked)
    # A square's rays differ by sqrt(2), an ellipse's under 45 degrees too;
    # beyond that the rays have met different things.
    both &= np.abs(mean / radius[:, None] - 1.0) < ROUGH
    direction = out[:half]
    weight = both.astype(float)
    for _ in range(10):
        normal = np.einsum("nk,ki,kj->nij", weight, direction, direction) + np.eye(2) * 1e-9
        right = np.einsum("nk,ki,nk->ni", weight, direction, difference)
        shift = np.linalg.solve(normal, right[:, :, None])[:, :, 0]
        residual = difference - shift @ direction.T
        middle = _median_where(np.abs(residual), both, 1.0)
        scale = np.clip(6.0 * middle, 0.03 * radius, 0.2 * radius)
        ratio = residual / scale[:, None]
        weight = both * np.where(np.abs(ratio) < 1, (1 - ratio**2) ** 2, 0.0)
    count = (weight > 0.1).sum(axis=1)
    variance = (weight * residual**2).sum(axis=1) / np.maximum(weight.sum(axis=1) - 2, 1)
    inverse = np.linalg.inv(normal + np.eye(2) * 1e-6)
    # The worse of the two directions: a row of touching pads is sharp in one only.
    sigma = np.sqrt(np.maximum(variance, 0) * np.linalg.eigvalsh(inverse)[:, -1])
    return shift, sigma, radius, count / half


def find_centres(
    grey: np.ndarray,
    to_px,
    places,
    radius,
    side,
    *,
    noise: float,
    unit_px: float,
    rounds: int = 3,
    rays: int = RAYS,
) -> Centres:
    """Centres near `places`.

    grey: float32 (H, W); to_px: maps (K, 2) places to pixels; unit_px: px per unit there
    places: (N, 2); radius: (N,) expected; side: (N,) +1 or -1
    """
    places = np.array(places, dtype=np.float64)
    asked = np.array(radius, dtype=np.float64)
    side = np.asarray(side, dtype=np.float64)
    if not len(places):
        empty = np.zeros(0)
        return Centres(places, empty, empty, empty, empty, empty, empty.astype(bool))
    frame = _frames(to_px, places, asked)
    centre, radius = np.zeros_like(places), asked.copy()  # centre counts from the place
    for _ in range(rounds):
        values, radii, out = _profiles(grey, frame, centre, radius, unit_px, rays)
        index, clear, step = _steps(values, side, noise)
        span = radii[:, -1] - radii[:, 0]
        reach = radii[:, :1] + index / (values.shape[2] - 1) * span[:, None]
        shift, sigma, median, cover = _solve(reach, clear, out, asked)
        limit = 0.6 * radius
        length = np.linalg.norm(shift, axis=1)
        shift *= np.minimum(1.0, limit / np.maximum(length, 1e-12))[:, None]
        centre = centre + shift
        radius = np.clip(median, 0.6 * asked, 1.6 * asked)
    settled = np.linalg.norm(shift, axis=1) < 0.1 * radius
    moved = np.linalg.norm(centre, axis=1)
    sigma = np.hypot(sigma, FLOOR_PX / unit_px)
    alike = np.abs(np.log(radius / asked)) < np.log(1.0 + SIZE)
    found = settled & alike & (cover >= 0.4) & (moved < 0.9 * asked) & (sigma < 0.1 * radius)
    return Centres(places + centre, sigma, radius, cover, side, step, found)
