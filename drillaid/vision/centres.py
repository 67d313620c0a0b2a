"""Exact centres of round or evenly shaped features near places where they are expected.

Rays run out from each place; on each the step in brightness of the right sign is
found to a fraction of a pixel. A shape that looks the same after half a turn (a
disc, square, oblong, octagon, and the ellipse a disc becomes under tilt) has its
steps on two opposite rays equally far out; half the difference is how far the
centre is off along the edge's normal. Pairs that disagree (a track leaves there,
a finger covers it, the neighbour pad touches) are left out by their residual, and
a disc cut straight, which is even about a wrong middle, by the circle still left.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.vision.rays import BLUR_PX, FIRST_PX, MATCH, opposite, profiles, steepest

SHARP_PX = 0.6  # blur taken for edges that must not be smoothed into their neighbours
RAYS = 48  # even, so that each has its opposite
SIZE = 0.3  # how much larger or smaller than asked a feature may be
ROUGH = 0.28  # how far a ray's edge may be from the median, as a share of it
STRAY, STRAY_PX = 0.05, 0.25  # of the radius, and px: how far an edge may be from a circle
TIGHT = 0.6  # share of that which a second look allows: a shallow cut strays little
SHARED_PX, SHARED = 1.3, 0.6  # rays nearer than this, and so many blurs, share their noise
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


def _solve(reach, clear, difference, out, asked: np.ndarray):
    """Shift of the centre, its sigma, radius and cover from edge distances (N, RAYS) and
    half the differences (N, RAYS / 2) of opposite ones."""
    half = reach.shape[1] // 2
    both = clear[:, :half] & clear[:, half:]
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


def _cut(reach, clear, difference, out, shift, sigma, radius, stray) -> np.ndarray:
    """(N,) where a circle about another centre holds more of the edge than the pairs do.

    A disc cut straight by something like its surroundings is nearly even about the
    middle of what is left, only smaller; but its whole side is a piece of a circle yet.
    stray: (N,) how far off an edge may be, as a share of the radius.
    """
    half = len(out) // 2
    agree = clear[:, :half] & clear[:, half:]
    agree &= np.abs(difference - shift @ out[:half].T) < (stray * radius)[:, None]
    share = agree.mean(axis=1)
    cut = np.zeros(len(reach), dtype=bool)
    doubtful = np.flatnonzero(share < 0.8)
    if len(doubtful):
        size = radius[doubtful, None]
        middle, held = _fullest_circle(
            reach[doubtful] / size, clear[doubtful], out, stray[doubtful]
        )
        away = np.linalg.norm(middle * size - shift[doubtful], axis=1)
        elsewhere = away > 3 * sigma[doubtful] + (stray * radius)[doubtful]
        cut[doubtful] = elsewhere & (held > 0.4) & (held > share[doubtful] + 0.05)
    return cut


def _fullest_circle(reach, clear, out, stray):
    """Middle (N, 2) of the circle through most of the edge and its share (N,) of the rays;
    in units of the feature's radius.

    Started from the fifths of the rays about twelve directions either way, by linear least
    squares; then twice through what lies near.
    """
    rays, starts = len(out), 12
    points = reach[:, :, None] * out
    square = (points**2).sum(axis=2, keepdims=True)
    row = np.concatenate([2 * points, np.ones_like(square), square], axis=2)
    products = (row[:, :, :3, None] * row[:, :, None, :]).reshape(*reach.shape, 12)
    turn = (np.arange(rays) - np.arange(starts)[:, None] * rays // starts) % rays
    part = clear[:, None, :] & (np.minimum(turn, rays - turn) <= rays // 5)
    for _ in range(3):
        sums = np.matmul(part.astype(float), products).reshape(-1, starts, 3, 4)
        solved = np.linalg.solve(sums[..., :3] + 1e-6 * np.eye(3), sums[..., 3:])[..., 0]
        middle = solved[..., :2]
        size = np.sqrt(np.maximum(solved[..., 2] + (middle**2).sum(axis=2), 0.0))
        away = np.linalg.norm(points[:, None] - middle[:, :, None], axis=3) - size[:, :, None]
        part = clear[:, None, :] & (np.abs(away) < stray[:, None, None])
    held = part.mean(axis=2)
    best = held.argmax(axis=1)
    rows = np.arange(len(best))
    return middle[rows, best], held[rows, best]


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
    even: bool = True,
) -> Centres:
    """Centres near `places`.

    grey: float32 (H, W); to_px: maps (K, 2) places to pixels; unit_px: px per unit there
    places: (N, 2); radius: (N,) expected; side: (N,) +1 or -1
    even: opposite edges look alike and are fitted to each other; False for a hole seen
    aslant, whose wall shows on one side only: each is read by itself, as sharp as it is
    """
    places = np.array(places, dtype=np.float64)
    asked = np.array(radius, dtype=np.float64)
    side = np.asarray(side, dtype=np.float64)
    if not len(places):
        empty = np.zeros(0)
        return Centres(places, empty, empty, empty, empty, empty, empty.astype(bool))
    frame = _frames(to_px, places, asked)
    centre, radius = np.zeros_like(places), asked.copy()  # centre counts from the place
    blur_px = FIRST_PX if even else SHARP_PX
    for k in range(rounds):
        values, radii, out = profiles(grey, frame, centre, radius, unit_px, rays, blur_px)
        width = np.clip(MATCH * blur_px / ((radii[:, 1] - radii[:, 0]) * unit_px),
                        0.7, 0.2 * values.shape[2])  # fmt: skip
        reach, clear, step = steepest(values, radii, radius, side, noise, width)
        rough = (reach[:, : rays // 2] - reach[:, rays // 2 :]) / 2
        blur = blur_px / unit_px
        fine, own = opposite(values, radii, reach, clear, blur)
        # Profiles moved farther apart than they are wide, or not alike, do not tell how far.
        difference = np.where((np.abs(fine - rough) < blur) & (k > 0) & even, fine, rough)
        shift, sigma, median, cover = _solve(reach, clear, difference, out, asked)
        if even and np.isfinite(own).any():
            blur_px = float(np.clip(np.nanmedian(own) * unit_px, *BLUR_PX))
        limit = 0.6 * radius
        length = np.linalg.norm(shift, axis=1)
        shift *= np.minimum(1.0, limit / np.maximum(length, 1e-12))[:, None]
        if k == rounds - 1:
            stray = np.hypot(STRAY, STRAY_PX / (radius * unit_px))
            cut = _cut(reach, clear, rough, out, shift, sigma, radius, stray)
            cut |= _cut(reach, clear, rough, out, shift, sigma, radius, TIGHT * stray)
        centre = centre + shift
        radius = np.clip(median, 0.6 * asked, 1.6 * asked)
    settled = np.linalg.norm(shift, axis=1) < 0.1 * radius
    moved = np.linalg.norm(centre, axis=1)
    # Rays of a small feature share pixels: so many fewer tell something of their own.
    shared = rays * (SHARED_PX + SHARED * blur_px) / (2 * np.pi * radius * unit_px)
    sigma = np.hypot(sigma * np.sqrt(np.maximum(shared, 1.0)), FLOOR_PX / unit_px)
    alike = np.abs(np.log(radius / asked)) < np.log(1.0 + SIZE)
    found = ~cut & settled & alike & (cover >= 0.4) & (moved < 0.9 * asked) & (sigma < 0.1 * radius)
    return Centres(places + centre, sigma, radius, cover, side, step, found)
