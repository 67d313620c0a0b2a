"""A pattern laid over a picture piece by piece, where the plane is only about right.

Without a rig the camera's tilt and the lens are guesses, so that a placement that is right
in one corner is off in the others. The pattern is cut into patches; each is moved to where
its own edges agree best with the picture's, and a map is put through the patches: first
affine, then a homography, with ever smaller moves.
"""

from __future__ import annotations

import numpy as np

from drillaid.geometry import Affine, Homography
from drillaid.registration.correlation import Correlator
from drillaid.vision.contours import EdgeModel

# (patches along a side, farthest move as a share of the longer one, a homography?)
ROUNDS = ((3, 0.05, False), (4, 0.03, False), (4, 0.02, True), (5, 0.012, True), (6, 0.008, True))
POINTS = 120  # of a patch
FEWEST_POINTS, FEWEST_PATCHES = 25, 5
STRIP = 0.35  # of the longer side: no patch is made smaller for the shorter one's sake
STEPS = 13  # of the moves tried along each axis


def bent_onto(see: Correlator, model: EdgeModel, start: Affine) -> Affine | Homography | None:
    """The placement, design mm -> plane of the correlator, through all patches; None where
    too few patches find anything.

    start: right to a few hundredths of the pattern's size
    """
    place: Affine | Homography = start
    spread = np.ptp(model.xy, axis=0)
    size = float(spread.max())
    # A strip is cut into smaller patches, or it would have too few of them.
    side = max(float(np.sqrt(spread.prod())), STRIP * size)
    for across, share, projective in ROUNDS:
        source, target, weight = _moved_patches(see, model, place, side / across, share * size)
        if len(source) < FEWEST_PATCHES:
            return None
        place = _through(source, target, weight, share * size, projective)
        if place is None:
            return None
    return place


def _moved_patches(see: Correlator, model: EdgeModel, place, side_mm: float, reach_mm: float):
    """Middles of the patches (design mm), where they belong (plane), and how plainly so."""
    cell = np.floor((model.xy - model.xy.min(axis=0)) / side_mm).astype(np.int64)
    _, which = np.unique(cell, axis=0, return_inverse=True)
    rng = np.random.default_rng(0)
    moves = np.linspace(-reach_mm, reach_mm, STEPS)
    dx, dy = (g.ravel() for g in np.meshgrid(moves, moves))
    soft_mm = max(0.2, 0.6 * float(moves[1] - moves[0]))
    source, target, weight = [], [], []
    for patch in range(which.max() + 1):
        members = np.flatnonzero(which.ravel() == patch)
        if len(members) < FEWEST_POINTS:
            continue
        part = model.only(rng.permutation(members)[:POINTS])
        middle = part.xy.mean(axis=0)
        here = _flat_map(place, middle)
        offset = here.offset + np.column_stack([dx, dy]) * np.sqrt(abs(here.determinant))
        scores = see.scores(part, here.linear[None], offset[None], soft_mm)[0]
        best = int(scores.argmax())
        plain = (scores[best] - np.median(scores)) / (scores.std() + 1e-6)
        source.append(middle)
        target.append(here.linear @ middle + offset[best])
        weight.append(max(plain - 1.5, 0.05) * max(scores[best], 0.0) * np.sqrt(len(members)))
    return np.array(source).reshape(-1, 2), np.array(target).reshape(-1, 2), np.array(weight)


def _flat_map(place, at) -> Affine:
    """The map nearest to `place` round one point."""
    linear = place.jacobian(np.reshape(at, (1, 2)))[0]
    return Affine(np.column_stack([linear, place(at)[0] - linear @ at]))


def _through(source, target, weight, reach: float, projective: bool):
    """Weighted robust fit; the plane is scaled so that the numbers are of one size."""
    unit = float(np.ptp(target, axis=0).max()) / max(float(np.ptp(source, axis=0).max()), 1e-9)
    if weight.sum() <= 0:
        return None
    keep = weight / weight.max()
    place = None
    for _ in range(6):
        place = _fitted(source, target, keep, projective and len(source) >= 6)
        if place is None:
            return None
        off = np.linalg.norm(place(source) - target, axis=1) / unit
        limit = max(2.5 * float(np.median(off)), 0.3 * reach)
        keep = weight / weight.max() * np.clip(1 - (off / (2 * limit)) ** 2, 0, None) ** 2
        if (keep > 1e-3).sum() < 4:
            return None
    return place


def _fitted(source, target, weight, projective: bool):
    root = np.sqrt(weight)[:, None]
    if not projective:
        rows = np.column_stack([source, np.ones(len(source))]) * root
        matrix = np.linalg.lstsq(rows, target * root, rcond=None)[0].T
        return Affine(matrix)
    # The direct linear transform, both sides centred and scaled (R. Hartley, IEEE PAMI
    # 19(6), 1997; from memory).
    a, b = _centred(source), _centred(target)
    p, q = a(source), b(target)
    x, y = p.T
    zero, one = np.zeros(len(p)), np.ones(len(p))
    rows = np.concatenate(
        [
            np.column_stack([x, y, one, zero, zero, zero, -q[:, 0] * x, -q[:, 0] * y, -q[:, 0]]) * root,
            np.column_stack([zero, zero, zero, x, y, one, -q[:, 1] * x, -q[:, 1] * y, -q[:, 1]]) * root,
        ]
    )
    # Weak knowledge that the rest of the tilt is small keeps few patches from bending it.
    rows = np.vstack([rows, 0.3 * np.eye(9)[6:8]])
    _, _, vt = np.linalg.svd(rows)
    inner = Homography.scaled_for(vt[-1].reshape(3, 3), p)
    return b.inverse @ (inner @ a)


def _centred(points: np.ndarray) -> Affine:
    middle = points.mean(axis=0)
    size = np.sqrt(np.mean(np.sum((points - middle) ** 2, axis=1)) / 2)
    return Affine.from_parts(scale=1 / size) @ Affine.from_parts(offset=-middle)
