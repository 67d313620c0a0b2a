"""From a rough placement to all pads it explains: match, fit, tighten, repeat."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.geometry import Affine, Homography
from drillaid.registration.fit import fit_plane
from drillaid.registration.pose import fit_pose, pose_from
from drillaid.vision.plane import PlaneView

LEAST = 5  # matches below which nothing is worth fitting


@dataclass(frozen=True, eq=False)
class Grown:
    """placement: design mm -> plane (Affine or Homography); matched: index of the
    sighting at each hole, or -1; tolerance in plane units at the last round."""

    placement: Affine | Homography
    matched: np.ndarray
    unit_per_mm: float

    @property
    def count(self) -> int:
        return int((self.matched >= 0).sum())


def match(tree, places: np.ndarray, tolerance: float) -> np.ndarray:
    """Index of the nearest sighting within tolerance for each place, each used once, or -1."""
    distance, index = tree.query(np.nan_to_num(places, nan=1e9))
    index = np.where(distance < tolerance, index, -1)
    order = np.argsort(distance)
    _, first = np.unique(index[order], return_index=True)
    once = np.zeros(len(index), dtype=bool)
    once[order[first]] = True
    return np.where(once, index, -1)


def _unit(placement, holes) -> float:
    jacobian = placement.jacobian(holes.mean(axis=0, keepdims=True))[0]
    return float(np.sqrt(abs(np.linalg.det(jacobian))))


def plausible(
    placement: Affine, *, scale_within: tuple[float, float], skew: float, shear: float
) -> bool:
    """Could a print and a bench do this? skew: largest |sx / sy - 1|; shear: largest |shear|."""
    sx, sy = placement.scale
    low, high = scale_within
    return bool(
        low <= np.sqrt(sx * sy) <= high
        and abs(placement.shear) <= shear
        and abs(sx / sy - 1.0) <= skew
    )


def grow_in_plane(start: Affine, tree, holes: np.ndarray) -> Grown | None:
    """First growth without a rig: affine, because the guessed tilt is only about right."""
    current, xy = start, tree.data
    sign = np.sign(start.determinant)
    for tolerance in (2.2, 1.6, 1.3, 1.0, 0.9):
        unit = _unit(current, holes)
        matched = match(tree, current(holes), tolerance * unit)
        ok = matched >= 0
        if ok.sum() < LEAST + 1:
            return None
        fitted = fit_plane(
            holes[ok], xy[matched[ok]], np.ones(ok.sum()), "affine", mirrored=sign < 0
        ).transform
        grown = fitted.scale
        if not (0.75 < grown[0] / grown[1] < 1.33 and abs(fitted.shear) < 0.3):
            return None
        current = fitted
    unit = _unit(current, holes)
    return Grown(current, match(tree, current(holes), 0.8 * unit), unit)


def grow_by_pose(grown: Grown, tree, holes: np.ndarray, view: PlaneView, *, mirrored: bool):
    """Second growth without a rig: camera pose, tolerance down to a pad's own error."""
    to_px = view.homography
    current, xy = grown.placement, tree.data
    pose = pose_from(to_px @ current, holes, view.size_px, flip=mirrored)
    for tolerance in (1.0, 0.7, 0.5, 0.4, 0.35):
        unit = _unit(current, holes)
        matched = match(tree, current(holes), tolerance * unit)
        ok = matched >= 0
        if ok.sum() < LEAST + 2:
            return None
        sigma_px = np.full(ok.sum(), 0.25 * unit)
        pose = fit_pose(holes[ok], view.to_px(xy[matched[ok]]), sigma_px, pose, rounds=8)
        current = to_px.inverse @ pose.homography
    unit = _unit(current, holes)
    return Grown(current, match(tree, current(holes), 0.35 * unit), unit)
