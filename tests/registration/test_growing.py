from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from drillaid.geometry import Affine, Homography
from drillaid.registration.growing import (
    grow_by_pose,
    grow_in_plane,
    match,
    plausible,
)
from drillaid.vision.plane import FreePlane

HOLES = np.random.default_rng(1).uniform([0, 0], [80, 50], (70, 2))


def sighted(rng, placed: np.ndarray, *, seen=0.7, clutter=200, sigma=0.05, unit=1.0):
    """The sightings, and which hole each is of (-1 for false ones)."""
    which = np.flatnonzero(rng.random(len(placed)) < seen)
    pads = placed[which] + rng.normal(0, sigma * unit, (len(which), 2))
    low, high = placed.min(axis=0) - 5 * unit, placed.max(axis=0) + 5 * unit
    points = np.vstack([pads, rng.uniform(low, high, (clutter, 2))])
    owner = np.r_[which, np.full(clutter, -1)]
    order = rng.permutation(len(points))
    return points[order], owner[order]


def test_plausible_prints():
    within = {"scale_within": (0.96, 1.04), "skew": 0.01, "shear": 0.01}
    assert plausible(Affine.from_parts(rotation_rad=2, scale=(1.005, 0.998)), **within)
    assert not plausible(Affine.from_parts(scale=1.05), **within)
    assert not plausible(Affine.from_parts(scale=(1.0, 1.02)), **within)
    assert not plausible(Affine.from_parts(shear=0.02), **within)


def test_each_sighting_is_used_once_by_the_nearer_hole():
    tree = cKDTree(np.array([[0.0, 0.0], [10.0, 0.0]]))
    places = np.array([[0.3, 0.0], [0.1, 0.0], [10.2, 0.0], [5.0, 0.0], [np.nan, 0.0]])
    assert match(tree, places, 0.5).tolist() == [-1, 0, 1, -1, -1]


def oblique(tilt=0.25) -> tuple[FreePlane, Homography]:
    """A camera aslant over the design: a plane guessed nearly right, and design -> px."""
    size = (1600, 1200)
    focal = 0.95 * 1600
    c, s = np.cos(tilt), np.sin(tilt)
    rotation = np.array([[1, 0, 0], [0, -c, s], [0, -s, -c]])  # looks down, leaning
    camera = np.array([[focal, 0, 799.5], [0, focal, 599.5], [0, 0, 1]])
    middle = HOLES.mean(axis=0)
    def view(lean, turned):
        columns = np.column_stack([lean[:, 0], lean[:, 1], turned])
        shift = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1.0]])
        return Homography.scaled_for(camera @ columns @ shift, HOLES)
    truth = view(rotation, np.array([0, 0, 130.0]))
    c, s = np.cos(tilt + 0.06), np.sin(tilt + 0.06)
    guessed = np.array([[1, 0, 0], [0, -c, s], [0, -s, -c]])
    return FreePlane(view(guessed, np.array([1.0, 0.5, 126.0])), size), truth


def test_without_a_rig_growth_bears_a_tilt_guessed_wrong():
    rng = np.random.default_rng(4)
    view, truth = oblique()
    in_plane = view.to_plane(truth(HOLES))
    points, _ = sighted(rng, in_plane, clutter=120)
    tree = cKDTree(points)
    # Votes give about this: the best similarity, half a millimetre and half a degree off.
    from drillaid.registration.fit import fit_similarity

    rough = fit_similarity(HOLES, in_plane) @ Affine.from_parts(
        rotation_rad=0.008, offset=(0.4, -0.3)
    )
    first = grow_in_plane(rough, tree, HOLES)
    assert first is not None and first.count > 30
    grown = grow_by_pose(first, tree, HOLES, view, mirrored=False)
    off = np.linalg.norm(grown.placement(HOLES) - in_plane, axis=1)
    # 49 pads of 0.05 mm over eight parameters: hundredths of a millimetre, corners worse.
    assert np.sqrt(np.mean(off**2)) < 0.05
    assert off.max() < 0.15
    assert grown.count > 42


def test_without_sightings_nothing_grows():
    tree = cKDTree(np.array([[500.0, 500.0]]))
    assert grow_in_plane(Affine.identity(), tree, HOLES) is None
