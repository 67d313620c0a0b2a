"""The upper rim of a drilled hole in a patch: coarse vote, then sub-pixel edges on rays.

The vote asks for every centre and radius how strongly the colour changes across
that circle, all round and in one direction; thin false circles (a scratch, a
burr) do not add up. The edges are then found on rays from the best centre and a
circle is fitted to them in true distance, dropping what disagrees: dust,
reflections, a track, the inner rim of the wall when the camera looks in askew.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.geometry import as_points
from drillaid.inspection.patch import Patch
from drillaid.vision.circle import Circle, fit_circle

RAYS = 96
CHANNELS = 4  # three colours and strangeness
SURFACE, BURR = (1.15, 1.4), (1.03, 1.15)  # belts outside the rim, in radii
# What neighbouring edges share, in pixels, and what a whole rim shares, in pixels and in
# parts of its scatter: measured on drawn and on simulated boards (tests/benchmarks).
FLOOR_PX, COMMON_PX, COMMON_SHARE = 0.08, 0.05, 0.6
BROAD_WALL = 0.5  # what an edge between copper and a broad wall counts
WALL_MM = 0.004  # wall in sight that begins to spoil an edge


@dataclass(frozen=True, eq=False)
class Rim:
    """centre_mm (2,) in the plane; radius_mm
    covariance: (3, 3) of (x, y, radius), mm^2
    coverage: share of the rays whose edge lies on the circle, 0 ... 1, of those
      on which the upper rim can be told from the wall below it
    contrast: colour step across the rim, in sigmas of the picture's noise
    scatter_mm: rms of the edges that agree
    """

    centre_mm: np.ndarray
    radius_mm: float
    covariance: np.ndarray
    coverage: float
    contrast: float
    scatter_mm: float


def vote(
    patch: Patch, strange, noise: float, radii_mm, centre_mm, reach_mm: float,
    lower_mm=(0.0, 0.0), *, keep: int = 4,
) -> list[tuple]:  # fmt: skip
    """Circles (score, centre_mm, radius_mm), best first, centres within reach of a place.

    strange: float32 (S, S), grey levels: how little each pixel is like copper; a wall
      or a floor may be lighter or darker than copper, but both are strange to it
    noise: one sigma of a colour value of the photograph
    score: mean change of colour across the circle, grey levels per patch pixel
    lower_mm: apparent displacement of the lower rim
    """
    reduce = 2 if patch.px_per_mm > 25 else 1
    image = np.dstack([patch.image, strange])[::reduce, ::reduce]
    inside = patch.inside[::reduce, ::reduce]
    image = cv2.GaussianBlur(np.ascontiguousarray(image), (0, 0), 1.0)
    scale = patch.px_per_mm / reduce
    gradients = _even_gradients(image, inside, noise)
    lower = np.asarray(lower_mm) * scale
    scores = np.stack([_ring_score(gradients, radius * scale, lower) for radius in radii_mm])
    # a longer rim is less likely to be chance
    scores *= np.sqrt(np.asarray(radii_mm) / max(radii_mm))[:, None, None]
    axis = np.arange(image.shape[0])
    here = (as_points(centre_mm)[0] - patch.origin_mm) * scale
    far = np.hypot(axis[None, :] - here[0], axis[:, None] - here[1]) > reach_mm * scale
    scores[:, far] = 0
    return _peaks(scores, radii_mm, patch.origin_mm, scale, keep)


def _even_gradients(image, inside, noise: float) -> tuple[np.ndarray, np.ndarray]:
    """Gradients, cut down to a few sigmas of noise: a rim in dark resist is a weak edge,
    and neither glare nor the land's own edge may outvote it."""
    dx = cv2.Scharr(image, cv2.CV_32F, 1, 0, scale=1 / 32)
    dy = cv2.Scharr(image, cv2.CV_32F, 0, 1, scale=1 / 32)
    dx[..., 3] *= 2
    dy[..., 3] *= 2
    size = np.sqrt((dx**2 + dy**2).sum(axis=2))
    limit = max(min(float(np.percentile(size, 70)), 3.0 * noise), 1e-3)
    factor = (np.minimum(1.0, limit / np.maximum(size, 1e-6)) * inside)[..., None]
    return dx * factor.astype(np.float32), dy * factor.astype(np.float32)


def _ring_score(gradients, radius_px: float, lower_px) -> np.ndarray:
    """Mean outward change across a circle round every pixel, over all colours.

    Where the wall comes into sight by more than a pixel the circle is looked for less.
    """
    half = int(math.ceil(radius_px + 2))
    y, x = np.mgrid[-half : half + 1, -half : half + 1].astype(np.float32)
    distance = np.hypot(x, y)
    unit = np.maximum(distance, 1e-6)
    ring = np.exp(-0.5 * ((distance - radius_px) / 0.8) ** 2)
    wall_px = -(x * lower_px[0] + y * lower_px[1]) / unit
    ring *= np.where(wall_px > 1.0, 0.4, 1.0)
    ring = (ring / ring.sum()).astype(np.float32)
    total = 0.0
    for channel in range(CHANNELS):
        radial = cv2.filter2D(gradients[0][..., channel], cv2.CV_32F, ring * x / unit)
        radial += cv2.filter2D(gradients[1][..., channel], cv2.CV_32F, ring * y / unit)
        total = total + radial**2
    return np.sqrt(total)


def _peaks(scores, radii_mm, origin_mm, scale, keep) -> list[tuple]:
    found, scores = [], scores.copy()
    axis = np.arange(scores.shape[1])
    for _ in range(keep):
        k, v, u = np.unravel_index(int(scores.argmax()), scores.shape)
        if scores[k, v, u] <= 0:
            break
        radius = float(radii_mm[k])
        found.append((float(scores[k, v, u]), origin_mm + np.array([u, v]) / scale, radius))
        near = np.hypot(axis[None, :] - u, axis[:, None] - v) < 0.12 * scale
        for other, other_radius in enumerate(radii_mm):
            if abs(other_radius - radius) < 0.1:
                scores[other, near] = 0
    return found


def refine(
    patch: Patch, centre_mm, radius_mm: float, noise: float, px_mm: float, lower_mm=(0.0, 0.0),
    *, outside=SURFACE,
) -> Rim | None:  # fmt: skip
    """The circle through the edges near a voted one; None where too few agree.

    noise: one sigma of a colour value of the patch; px_mm: a photograph pixel,
      which sets what edge scatter is possible and how many edges are independent
    lower_mm: apparent displacement of the lower rim; where the wall is in sight
      the edge found may be between wall and depth, so those rays count less
    outside: SURFACE or BURR, what the inside is told apart from
    """
    lower, start = np.asarray(lower_mm), float(radius_mm)
    place = np.array([*centre_mm, start])
    for tolerance in (max(0.16, 2.5 * px_mm), max(0.09, 1.5 * px_mm), max(0.05, px_mm)):
        edges = _edges(patch, place[:2], place[2], noise, tolerance, px_mm, lower, outside)
        robust = _robust(edges, place, tolerance)
        if robust is None:
            return None
        place, weights = robust
        if not 0.6 * start < place[2] < 1.5 * start:
            return None
    circle = fit_circle(edges.points_mm, weights)
    return None if circle is None else _rim(edges, circle, weights, px_mm)


@dataclass(frozen=True, eq=False)
class _Edges:
    """clear: (RAYS,) 0 ... 1, how little of the wall is in sight there."""

    points_mm: np.ndarray
    strength: np.ndarray
    clear: np.ndarray
    contrast: float


def _edges(patch, centre, radius, noise, tolerance, px_mm, lower_mm, outside) -> _Edges:
    """On each ray the edge nearest the circle among those that are strong enough."""
    angle = np.arange(RAYS) * (2 * math.pi / RAYS)
    rays = np.column_stack([np.cos(angle), np.sin(angle)])
    step = 0.5 / patch.px_per_mm
    reach = max(1.6 * tolerance, 4 * step)
    start = max(radius - reach, 0.05)
    along = np.arange(start - 2 * step, radius + reach + 2 * step, step)
    profile = patch.sample(centre + rays[:, None, :] * along[None, :, None])
    wall, clear = _wall_in_sight(rays, lower_mm, radius, tolerance, px_mm)
    low = np.where(wall > 0, radius - 0.8 * wall, 0.4 * radius)
    high = np.where(wall > 0, radius - 0.35 * wall, 0.8 * radius)
    inner = _smooth_round(_belt(patch, centre, rays, low, high))
    outer = _smooth_round(_belt(patch, centre, rays, outside[0] * radius, outside[1] * radius))
    across = outer - inner
    size = np.sqrt((across**2).sum(axis=1))
    level = ((profile - inner[:, None, :]) * across[:, None, :]).sum(axis=2)
    level /= np.maximum(size, 1e-6)[:, None] ** 2
    slope = np.gradient(cv2.GaussianBlur(level.astype(np.float32), (5, 1), 1.0), step, axis=1)
    place, strength = _peak_near(slope, along, radius, tolerance)
    strength[size < 4 * noise] = 0
    place_mm = centre + rays * place[:, None]
    strength[~_seen(patch, place_mm)] = 0
    contrast = float(np.median(size) / max(noise, 1e-6))
    return _Edges(place_mm, strength, clear, contrast)


def _wall_in_sight(rays, lower_mm, radius, tolerance, px_mm) -> tuple[np.ndarray, np.ndarray]:
    """Its breadth on each ray, mm, and how far (0 ... 1) the ray's edge is the upper rim's.

    A broad wall has an edge of its own towards the copper; a narrow one only moves
    the edge between copper and depth, and such rays are left out. Where wall and
    rim part, blur rounds the corner off: a pixel's distance is kept from it.
    """
    breadth = -rays @ lower_mm
    corner = breadth + np.hypot(*lower_mm) * min(1.0, px_mm / radius)
    clear = np.exp(-0.5 * (np.maximum(0, corner) / WALL_MM) ** 2)
    broad = (breadth > 2.5 * px_mm) & (breadth > 1.5 * tolerance)
    return np.where(broad, breadth, 0.0), np.where(broad, BROAD_WALL, clear * (clear > 0.05))


def _belt(patch, centre, rays, low, high) -> np.ndarray:
    """Median colour of each ray between two radii (numbers or one for each ray), (RAYS, 3)."""
    low, high = np.broadcast_to(low, len(rays)), np.broadcast_to(high, len(rays))
    along = low[:, None] + (high - low)[:, None] * np.linspace(0, 1, 5)
    return np.median(patch.sample(centre + rays[:, None, :] * along[..., None]), axis=1)


def _smooth_round(values: np.ndarray) -> np.ndarray:
    """Mean over +-4 neighbouring rays, (RAYS, C), closed round."""
    wrapped = np.concatenate([values[-4:], values, values[:4]])
    sums = np.cumsum(np.concatenate([np.zeros((1, values.shape[1])), wrapped]), axis=0)
    return (sums[9:] - sums[:-9]) / 9


def _seen(patch: Patch, xy_mm) -> np.ndarray:
    px = np.rint(patch.to_px(xy_mm)).astype(int)
    last = patch.inside.shape[0] - 1
    within = ((px >= 0) & (px <= last)).all(axis=1)
    px = np.clip(px, 0, last)
    return within & patch.inside[px[:, 1], px[:, 0]]


def _peak_near(slope, along, radius, tolerance) -> tuple[np.ndarray, np.ndarray]:
    """Sub-step place and height of the best rising edge of each ray."""
    inner = slope[:, 1:-1]
    top = (inner >= slope[:, :-2]) & (inner > slope[:, 2:]) & (inner > 0)
    likely = np.exp(-0.5 * ((along[1:-1] - radius) / tolerance) ** 2)
    merit = np.where(top, inner * likely, 0)
    best = merit.argmax(axis=1)
    row = np.arange(len(slope))
    left, mid, right = slope[row, best], slope[row, best + 1], slope[row, best + 2]
    bend = left - 2 * mid + right
    part = np.where(bend < 0, 0.5 * (left - right) / np.minimum(bend, -1e-9), 0.0)
    place = along[best + 1] + np.clip(part, -0.5, 0.5) * (along[1] - along[0])
    return place, np.where(merit[row, best] > 0, mid, 0.0)


def _robust(edges: _Edges, place, tolerance) -> tuple[np.ndarray, np.ndarray] | None:
    """Circle (x, y, radius) and the weights of its edges after Tukey-weighted
    Gauss-Newton steps: an edge counts for nothing beyond about four scatters."""
    usable = (edges.strength > 0) & (edges.clear > 0)
    typical = np.median(edges.strength[usable]) if usable.any() else 0.0
    usable &= edges.strength >= 0.25 * typical
    if np.count_nonzero(usable) < RAYS // 6:
        return None
    strength = np.minimum(edges.strength / max(typical, 1e-9), 1.5)
    base = np.where(usable, strength * edges.clear, 0.0)
    for _ in range(15):
        away = edges.points_mm - place[:2]
        distance = np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-9)
        residual = distance - place[2]
        spread = np.median(np.abs(residual[usable])) / 0.6745
        limit = min(max(4.0 * float(spread), 0.012), 2.0 * tolerance)
        weights = base * np.maximum(1 - (residual / limit) ** 2, 0) ** 2
        if np.count_nonzero(weights) < RAYS // 8:
            return None
        jacobian = np.column_stack([-away / distance[:, None], np.full(len(away), -1.0)])
        weighted = jacobian * weights[:, None]
        normal = weighted.T @ jacobian
        if np.linalg.det(normal) < 1e-6 * np.trace(normal) ** 3 / 27:
            return None
        step = np.linalg.solve(normal, -weighted.T @ residual)
        place = place + step
        if np.abs(step).max() < 2e-5:
            break
    return place, weights


def _rim(edges: _Edges, circle: Circle, weights: np.ndarray, px_mm: float) -> Rim:
    agree = weights > 0.05 * weights.max()
    scatter = math.sqrt(float(np.average(circle.residuals**2, weights=weights)))
    # Neighbouring rays look at the same pixels and the same ragged bit of rim, so
    # they are not independent: as many edges count as the rim has lengths over
    # which the edge wanders.
    share = np.count_nonzero(agree) / max(np.count_nonzero(edges.clear > 0), 1)
    arc_mm = 2 * math.pi * circle.radius * np.count_nonzero(agree) / RAYS
    independent = _independent(circle.residuals, agree, arc_mm / px_mm)
    grow = np.count_nonzero(agree) / max(independent - 3.0, 1.0)
    # Errors common to neighbouring edges (sampling, blur, wall) do not show in the scatter.
    floor = 1 + (FLOOR_PX * px_mm / max(scatter, 1e-6)) ** 2
    radius = circle.radius + _curvature_bias(edges.strength[agree], circle.radius)
    covariance = circle.covariance * max(grow, 1.0) * floor
    # A burr blurred into the rim moves whole stretches of it: more so on ragged rims.
    common = COMMON_PX * px_mm + COMMON_SHARE * scatter
    covariance = covariance + np.diag([0.5, 0.5, 1.0]) * common**2
    return Rim(circle.centre, radius, covariance, share, edges.contrast, scatter)


def _curvature_bias(slopes: np.ndarray, radius: float) -> float:
    """How far blur has moved the steepest place of a disc's edge inwards: s^2 / (2 R).

    s, one sigma of the blur, is read from the edges: a unit step blurred by s
    rises by 1 / (s sqrt(2 pi)) at its steepest. First term of the expansion for
    s << R; own derivation, tested against drawn discs.
    """
    steepest = float(np.median(slopes)) if len(slopes) else 0.0
    if steepest <= 0:
        return 0.0
    blur = 1 / (steepest * math.sqrt(2 * math.pi))
    return min(blur**2 / (2 * radius), 0.1 * radius)


def _independent(residuals: np.ndarray, agree: np.ndarray, most: float) -> float:
    """Effective number of edges: count over the sum of their correlations round the rim."""
    values = np.where(agree, residuals, 0.0)
    count = np.count_nonzero(agree)
    power = float((values**2).sum())
    if power <= 0:
        return min(count, most)
    spectrum = np.abs(np.fft.rfft(values)) ** 2
    correlation = np.fft.irfft(spectrum, RAYS)[: RAYS // 4] / power
    fades = np.nonzero(correlation < 0.1)[0]
    length = 1 + 2 * float(correlation[1 : fades[0] if len(fades) else None].sum())
    return min(count / max(length, 1.0), most)
