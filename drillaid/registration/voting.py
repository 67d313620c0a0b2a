"""Where might the design lie? Every sighting votes with every hole, no starting guess.

For a trial rotation and scale the difference between a sighting and a hole is
the translation that would bring them together; the right one collects a vote
from every pad that was seen. All rotations (or only those that fit the board's
edges), scales and translations are tried, so near-twins show up beside the
best instead of being missed.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.spatial import cKDTree

from drillaid.geometry import Affine


@dataclass(frozen=True, eq=False)
class Candidate:
    """One placement, design mm -> plane, with its votes in sigmas above chance."""

    placement: Affine
    surprise: float
    votes: float


def _vote(sightings: np.ndarray, model: np.ndarray, bin_size: float):
    """Counts over translations and the translation of the first bin's corner."""
    low = sightings.min(axis=0) - model.max(axis=0)
    size = np.ceil((sightings.max(axis=0) - model.min(axis=0) - low) / bin_size).astype(int) + 1
    s = (sightings - low) / bin_size
    m = model / bin_size
    column = (s[:, 0, None] - m[None, :, 0]).astype(np.int32)
    row = (s[:, 1, None] - m[None, :, 1]).astype(np.int32)
    flat = (row * size[0] + column).ravel()
    counts = np.bincount(flat, minlength=size[0] * size[1]).astype(np.float32)
    return counts.reshape(size[1], size[0]), low


def _area(sightings: np.ndarray) -> float:
    """Over which the sightings are strewn, a few stray ones aside."""
    low, high = np.percentile(sightings, [2, 98], axis=0)
    return max(float(np.prod(high - low)), 1e-9)


def propose(
    sightings: np.ndarray,
    holes_mm: np.ndarray,
    *,
    mirrored: bool,
    rotations_rad,
    scales,
    bin_mm: float = 0.6,
    keep: int = 60,
    each: int = 2,
) -> list[Candidate]:
    """The likeliest placements, best first.

    sightings: (n, 2) plane coordinates, best first; holes_mm: (N, 2)
    scales: plane units per mm to try; bin_mm: three bins side by side are
    what a vote may be off (print scale, remaining tilt, the picture itself)
    """
    if len(sightings) < 4 or len(holes_mm) < 4:
        return []
    centre = holes_mm.mean(axis=0)
    centred = holes_mm - centre
    reach = np.ptp(sightings, axis=0).max()
    area = _area(sightings)
    found: list[Candidate] = []
    for scale in scales:
        bin_size = bin_mm * scale
        if np.ptp(centred, axis=0).max() * scale > 2.5 * reach:
            continue
        # Votes that the same sightings, strewn evenly, would give three bins square.
        chance = len(holes_mm) * len(sightings) * (3 * bin_size) ** 2 / area
        for rotation in rotations_rad:
            turn = Affine.from_parts(rotation_rad=rotation, scale=scale, mirrored=mirrored)
            model = turn(centred)
            counts, low = _vote(sightings, model, bin_size)
            counts = cv2.boxFilter(counts, -1, (3, 3), normalize=False)
            for _ in range(each):
                _, votes, _, (u, v) = cv2.minMaxLoc(counts)
                shift = low + (np.array([u, v]) + 0.5) * bin_size
                place = Affine(np.column_stack([turn.linear, shift - turn.linear @ centre]))
                found.append(
                    Candidate(place, (votes - chance) / np.sqrt(chance + 2.0), float(votes))
                )
                counts[max(v - 2, 0) : v + 3, max(u - 2, 0) : u + 3] = 0
    found.sort(key=lambda c: -c.surprise)
    return found[:keep]


def quarter_turns(direction_rad: float, design_direction_rad: float) -> list[float]:
    """The four rotations that lay the design's main direction on the board's edges."""
    return [direction_rad - design_direction_rad + k * np.pi / 2 for k in range(4)]


def design_direction(holes_mm: np.ndarray) -> float:
    """Direction (rad, modulo a quarter turn) along which neighbouring holes line up."""
    from drillaid.registration.directions import main_direction

    count = min(5, len(holes_mm))
    _, near = cKDTree(holes_mm).query(holes_mm, k=count)
    steps = holes_mm[near[:, 1:]].reshape(-1, 2) - np.repeat(holes_mm, count - 1, axis=0)
    steps = steps[np.linalg.norm(steps, axis=1) > 0.05]
    if not len(steps):
        return 0.0
    phi = np.degrees(np.arctan2(steps[:, 1], steps[:, 0])) % 90.0
    return float(np.radians(main_direction(phi + 1e-6)))
