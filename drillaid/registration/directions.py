"""How an uncalibrated camera looks at the board, from the directions of its edges.

Tracks, rows and board edges run at right angles (some at 45 degrees). Of all
planes the camera could be looking at, the right one is that on which the edge
directions fall together. For a plane with normal n seen with focal length f the
direction of an edge on the plane follows from its pixel and its tangent; the
likelihood of all directions, each divided by how much the tilt itself bunches
directions (the Jacobian d phi / d psi; without it every steep tilt looks
orderly), is searched over n.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.optimize import minimize

from drillaid.vision.channel import grey_of
from drillaid.vision.edges import edge_threshold, find_edges
from drillaid.vision.plane import FreePlane, free_plane

BINS = 180  # of a quarter turn
WIDTH_DEG = 1.5  # spread of directions along one straight edge
ORDERLY = 0.35  # share of edge points that belong to straight structure
FOCAL = 0.95  # of the longer side: phones 0.7-0.9, webcams 0.8-1.3
MAX_TILT_DEG = 50.0
LIKELY, ALIKE_DEG = 5, 3.0  # directions to go by, and what makes two of them one


@dataclass(frozen=True, eq=False)
class Look:
    """One guess: plane (unit: about one px at the middle, y up), the directions (rad, modulo
    a quarter turn) that the board's edges may have on it, likeliest first, and mean
    log-likelihood."""

    plane: FreePlane
    directions_rad: tuple[float, ...]
    likelihood: float


def _axes(normal: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Unit vectors of the plane, camera frame: along the picture's u, and along -v."""
    right = np.cross([0.0, 1.0, 0.0], normal)
    right /= np.linalg.norm(right)
    return right, -np.cross(normal, right)


def plane_directions(slope, px, tangent, focal_px) -> tuple[np.ndarray, np.ndarray]:
    """Direction of each edge on the plane, degrees in [0, 90), and d phi / d psi.

    slope: (2,) the normal is (slope_x, slope_y, 1) in the camera frame
    px, tangent: (K, 2), px from the principal point
    """
    normal = np.array([slope[0], slope[1], 1.0])
    normal /= np.linalg.norm(normal)
    right, up = _axes(normal)
    ray = np.column_stack([px, np.full(len(px), focal_px)]) / focal_px
    depth, along, across = ray @ normal, ray @ right, ray @ up
    # The point on the plane is ray / depth; its derivative along the tangent,
    # times depth^2, in the plane's own axes:
    j = [
        [right[0] * depth - along * normal[0], right[1] * depth - along * normal[1]],
        [up[0] * depth - across * normal[0], up[1] * depth - across * normal[1]],
    ]
    x = j[0][0] * tangent[:, 0] + j[0][1] * tangent[:, 1]
    y = j[1][0] * tangent[:, 0] + j[1][1] * tangent[:, 1]
    determinant = np.abs(j[0][0] * j[1][1] - j[0][1] * j[1][0])
    return np.degrees(np.arctan2(y, x)) % 90.0, determinant / (x * x + y * y + 1e-12)


_ANGLES = (np.arange(BINS) + 0.5) * 90.0 / BINS
_KERNEL = np.fft.rfft(np.exp(-0.5 * (np.minimum(_ANGLES, 90 - _ANGLES) / WIDTH_DEG) ** 2))


def _bunches(phi_deg: np.ndarray) -> np.ndarray:
    """(BINS,) how many directions lie about each angle (45 off counts a third)."""
    counts = np.bincount((phi_deg * (BINS / 90.0)).astype(int) % BINS, minlength=BINS)
    smooth = np.fft.irfft(np.fft.rfft(counts) * _KERNEL, BINS)
    # The kernel is centred on bin 0's middle, so the sum peaks at the bin's start.
    return smooth + 0.35 * np.roll(smooth, BINS // 2)


def main_direction(phi_deg: np.ndarray) -> float:
    """The direction, degrees modulo 90, about which directions bunch."""
    return float(_ANGLES[_bunches(phi_deg).argmax()])


def likely_directions(phi_deg: np.ndarray) -> list[float]:
    """Degrees modulo 90, likeliest first: the grain of a bench may bunch more than the board's
    edges do, and oblique tracks more than straight ones."""
    bunches = _bunches(phi_deg)
    peaks = np.flatnonzero((bunches > np.roll(bunches, 1)) & (bunches >= np.roll(bunches, -1)))
    peaks = peaks[np.argsort(-bunches[peaks])]
    found: list[float] = []
    for angle in [_ANGLES[peaks[0]], (_ANGLES[peaks[0]] + 45.0) % 90.0, *_ANGLES[peaks[1:]]]:
        if all(abs((angle - other + 45.0) % 90.0 - 45.0) > ALIKE_DEG for other in found):
            found.append(float(angle))
    return found[:LIKELY]


def _likelihood(slope, px, tangent, focal_px) -> tuple[float, float]:
    phi, jacobian = plane_directions(slope, px, tangent, focal_px)
    centre = main_direction(phi)
    off = phi - centre
    straight = np.abs((off + 45) % 90 - 45)
    diagonal = np.abs(off % 90 - 45)
    height = 90.0 / (WIDTH_DEG * np.sqrt(2 * np.pi))
    peak = height * (
        0.7 * np.exp(-0.5 * (straight / WIDTH_DEG) ** 2)
        + 0.3 * np.exp(-0.5 * (diagonal / WIDTH_DEG) ** 2)
    )
    return float(np.mean(np.log((1 - ORDERLY) + ORDERLY * peak * jacobian))), centre


def _trial_slopes() -> list[np.ndarray]:
    slopes = [np.zeros(2)]
    for tilt in np.radians(np.arange(8.0, MAX_TILT_DEG, 8.0)):
        count = int(round(2 * np.pi * np.tan(tilt) / np.tan(np.radians(7.0))))
        for turn in np.linspace(0, 2 * np.pi, count, endpoint=False):
            slopes.append(np.tan(tilt) * np.array([np.cos(turn), np.sin(turn)]))
    return slopes


def _plane(slope, focal_px: float, size_px: tuple[int, int]) -> FreePlane:
    """plane -> px; the unit is such that the middle of the picture has scale 1."""
    normal = np.array([slope[0], slope[1], 1.0])
    normal /= np.linalg.norm(normal)
    right, up = _axes(normal)
    width, height = size_px
    rays = np.array(
        [[1 / focal_px, 0, -width / 2 / focal_px], [0, 1 / focal_px, -height / 2 / focal_px], [0, 0, 1]]
    )
    to_plane = np.array([right, up, normal]) @ rays
    depth = normal[2]
    unit = np.diag([focal_px * depth, focal_px * depth, 1.0])
    return free_plane(np.linalg.inv(unit @ to_plane), size_px)


def looks_at(image: np.ndarray, *, keep: int = 3, focal: float = FOCAL) -> list[Look]:
    """The likeliest planes for one photograph, best first; never empty.

    image: uint8 BGR (H, W, 3). The plane seen from straight above is always
    among them, because a board of curves has no directions to go by.
    """
    height, width = image.shape[:2]
    shrink = min(1.0, 1400 / max(height, width))
    small = cv2.resize(image, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    grey = grey_of(small)
    edges = find_edges(grey.image, threshold=edge_threshold(grey.image, grey.noise))
    if len(edges) < 200:
        return [Look(_plane(np.zeros(2), focal * max(width, height), (width, height)), (0.0,), 0.0)]
    best = np.argsort(-edges.strength)[:20000]
    px = (edges.px[best] + 0.5) / shrink - 0.5 - [width / 2, height / 2]
    normal = edges.normal[best].astype(np.float64)
    tangent = np.column_stack([-normal[:, 1], normal[:, 0]])
    focal_px = focal * max(width, height)
    few = slice(None, None, max(1, len(px) // 5000))
    tried = [(_likelihood(s, px[few], tangent[few], focal_px)[0], s) for s in _trial_slopes()]
    tried.sort(key=lambda row: -row[0])
    looks: list[tuple[float, np.ndarray]] = []
    half = slice(None, None, 2)
    for _, start in tried[: keep + 3]:
        slope = _climb(start, px[half], tangent[half], focal_px)
        if all(np.linalg.norm(slope - other) > 0.04 for _, other in looks):
            looks.append((_likelihood(slope, px, tangent, focal_px)[0], slope))
    looks.sort(key=lambda row: -row[0])
    looks = looks[:keep]
    if all(np.linalg.norm(slope) > 0.04 for _, slope in looks):
        looks.append((_likelihood(np.zeros(2), px, tangent, focal_px)[0], np.zeros(2)))
    found = []
    for value, slope in looks:
        phi, _ = plane_directions(slope, px, tangent, focal_px)
        turns = tuple(np.radians(likely_directions(phi)))
        found.append(Look(_plane(slope, focal_px, (width, height)), turns, value))
    return found


def _climb(start, px, tangent, focal_px) -> np.ndarray:
    result = minimize(
        lambda slope: -_likelihood(slope, px, tangent, focal_px)[0],
        start,
        method="Nelder-Mead",
        options={
            "xatol": 2e-3,
            "fatol": 1e-4,
            "maxfev": 80,
            "initial_simplex": np.asarray(start) + [[0, 0], [0.05, 0], [0, 0.05]],
        },
    )
    return result.x
