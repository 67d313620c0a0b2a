"""Views of the pattern by projection: corners with a known lens and known noise, unrendered."""

from __future__ import annotations

import cv2
import numpy as np

from calibration.bundle import Seen
from calibration.pattern import Pattern
from calibration.practice import pose_over
from drillaid.rig.rig import Rig
from drillaid.simulation.rigs import nominal_rig

SHEET = Pattern(26, 16, 5.0)


def random_pose(rng, pattern=SHEET, *, tilt_rad=(0.0, 0.6), distance=(0.55, 1.45)):
    """(rotation_vector, translation_mm); distance in widths of the sheet."""
    way, tilt = rng.uniform(0, 2 * np.pi), rng.uniform(*tilt_rad)
    axis = np.array([np.cos(way), np.sin(way), 0.0]) * tilt
    roll = np.array([0.0, 0.0, rng.normal(0, 0.4)])
    turn = cv2.Rodrigues(cv2.Rodrigues(axis)[0] @ cv2.Rodrigues(roll)[0])[0].ravel()
    size = np.array(pattern.size_mm)
    return pose_over(size * rng.uniform(0.2, 0.8, 2), size[0] * rng.uniform(*distance), turn)


def projected_views(seed: int, count=12, noise_px=0.03, pattern=SHEET, rig=None, **pose):
    """(true rig, list of Seen) at 1080p; sigma differs from corner to corner and is true."""
    rng = np.random.default_rng([seed, 5])
    rig = nominal_rig(seed=seed) if rig is None else rig
    xyz = np.column_stack([pattern.corners_mm, np.zeros(len(pattern.corners_mm))])
    views = []
    while len(views) < count:
        posed = Rig(
            rig.width, rig.height, rig.matrix, rig.distortion, *random_pose(rng, pattern, **pose)
        )
        px = posed.project(xyz)
        inside = ((px > 8) & (px < [rig.width - 9, rig.height - 9])).all(axis=1)
        if inside.sum() < 30:
            continue
        sigma = noise_px * np.exp(rng.normal(0, 0.2, inside.sum()))
        seen = px[inside] + rng.normal(0, 1, (inside.sum(), 2)) * sigma[:, None]
        views.append(Seen(pattern.corners_mm[inside], seen, sigma))
    return rig, views


def unevenly(views: list[Seen], seed: int, smooth_px: float) -> list[Seen]:
    """With a smooth error in every view, and stated sigmas that are off by a factor."""
    rng = np.random.default_rng([seed, 77])
    size = np.array(SHEET.size_mm)
    out = []
    for view in views:
        x, y = (2 * view.mm / size - 1).T
        bend = np.column_stack([x * x, x * y, y * y, x**3, y**3]) @ rng.normal(0, smooth_px, (5, 2))
        out.append(Seen(view.mm, view.px + bend, view.sigma_px * np.exp(rng.normal(0, 0.3))))
    return out


def truth_of(rig) -> np.ndarray:
    """(9,) as calibration.bundle.NAMES."""
    m = rig.matrix
    return np.array([m[0, 0], m[1, 1], m[0, 2], m[1, 2], *rig.distortion])
