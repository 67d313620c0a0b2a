"""All placements worth a closer look, for one photograph: with a rig, or with none."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.spatial import cKDTree

from drillaid.geometry import Affine, Homography
from drillaid.registration.correlation import Correlator
from drillaid.registration.directions import Look, looks_at
from drillaid.registration.fit import fit_similarity
from drillaid.registration.growing import Grown, grow_by_pose, grow_in_plane, match
from drillaid.registration.near_twins import twin_moves
from drillaid.registration.voting import design_direction, propose, quarter_turns
from drillaid.vision.channel import grey_of
from drillaid.vision.discs import find_discs
from drillaid.vision.edge_field import edge_field
from drillaid.vision.plane import FlatPicture, PlaneView, RigPlane, flatten, visible_bounds

# Enough to find boards by (on 50 hard benches as telling as 8); they are measured in the photograph.
COARSE_PX_PER_MM = 5.0
USUAL_PX_PER_MM = 10.0  # of such a picture, for what counts as fine in it
FLAT_PX = 1500  # longer side of the flattened picture where no scale is known
VOTERS = 350  # sightings that vote
SEEN = 1600  # sightings that a placement may match
PX_PER_MM = (4.0, 40.0)  # of the flattened picture, where no scale is known


@dataclass(frozen=True, eq=False)
class Scene:
    """One photograph flattened to one plane, with what was sighted on it.

    xy: (n, 2) plane coordinates, best first; radius: (n,) plane units; side: (n,);
      none with a rig, where the correlator alone will do
    directions_rad: that the board's edges may have, modulo a quarter turn, likeliest first
    """

    view: PlaneView
    xy: np.ndarray
    radius: np.ndarray
    side: np.ndarray
    directions_rad: tuple[float, ...]
    unit_px: float
    calibrated: bool
    correlator: Correlator | None = None

    @property
    def span(self) -> tuple[float, float]:
        """Width and height of what the photograph covers, plane units."""
        low, high = visible_bounds(self.view)
        return tuple(high - low)


@dataclass(frozen=True, eq=False)
class Hypothesis:
    """placement: design mm -> plane of the scene."""

    scene: Scene
    grown: Grown
    mirrored: bool
    score: float = 0.0

    @property
    def placement(self) -> Affine | Homography:
        return self.grown.placement


class Scenes:
    """The scenes of one photograph, likeliest first, each made only when it is asked for."""

    def __init__(self, makers: list[Callable[[], Scene]], *, calibrated: bool) -> None:
        self._makers, self.calibrated = makers, calibrated
        self.made: dict[int, Scene] = {}

    def __len__(self) -> int:
        return len(self._makers)

    def __getitem__(self, index: int) -> Scene:
        if index not in self.made:
            self.made[index] = self._makers[index]()
        return self.made[index]


def _sight(flat: FlatPicture, grey: np.ndarray, radius_px: tuple[float, float]) -> np.ndarray:
    discs = find_discs(grey, radius_px=radius_px)
    column = np.clip(np.rint(discs[:, 0]).astype(int), 0, flat.valid.shape[1] - 1)
    row = np.clip(np.rint(discs[:, 1]).astype(int), 0, flat.valid.shape[0] - 1)
    return discs[flat.valid[row, column] > 0]


def _scene(view, flat: FlatPicture, discs, directions_rad, see: Correlator) -> Scene:
    xy = flat.to_plane(discs[:, :2])
    unit_px = 1 / flat.px_per_unit
    return Scene(view, xy, discs[:, 2] * unit_px, discs[:, 3], directions_rad, unit_px, False, see)


def scenes_with_rig(image: np.ndarray, view: RigPlane) -> Scenes:
    """The board's upper face from straight above, in mm: its edges only, nothing recognised."""
    return Scenes([lambda: _rig_scene(image, view)], calibrated=True)


def _rig_scene(image: np.ndarray, view: RigPlane) -> Scene:
    flat = flatten(image, view, COARSE_PX_PER_MM, averaged=True)
    see = Correlator(edge_field(flat.image, flat.valid, flat.px_per_unit), flat.to_plane)
    none = np.zeros(0)
    return Scene(view, np.zeros((0, 2)), none, none, (), 1 / flat.px_per_unit, True, see)


def scenes_without_rig(image: np.ndarray, *, keep: int = 3) -> Scenes:
    """One scene for each plane the camera is likely to look at, likeliest first."""
    looks = looks_at(image, keep=keep)
    return Scenes([partial(_free_scene, image, look) for look in looks], calibrated=False)


def _free_scene(image: np.ndarray, look: Look) -> Scene:
    low, high = visible_bounds(look.plane)
    flat = flatten(image, look.plane, FLAT_PX / float((high - low).max()))
    discs = _sight(flat, grey_of(flat.image).image, (3.0, 40.0))
    field = edge_field(flat.image, flat.valid, USUAL_PX_PER_MM)
    return _scene(look.plane, flat, discs, look.directions_rad, Correlator(field, flat.to_plane))


def hypotheses(
    scene: Scene, holes_mm: np.ndarray, *, mirrored: bool, keep: int = 8
) -> list[Hypothesis]:
    """Grown placements along the edges at unknown scale, best first, no two the same."""
    if len(scene.xy) < 6:
        return []
    rotations = quarter_turns(scene.directions_rad[0], design_direction(holes_mm))
    voters = scene.xy[:VOTERS]
    tree = cKDTree(scene.xy[:SEEN])
    low, high = PX_PER_MM
    scales = np.exp(np.arange(np.log(low), np.log(high), 0.013)) * scene.unit_px
    trials = propose(voters, holes_mm, mirrored=mirrored, rotations_rad=rotations, scales=scales)
    first = [g for g in (grow_in_plane(t.placement, tree, holes_mm) for t in trials) if g]
    first = _distinct(sorted(first, key=lambda g: -g.count), holes_mm)[:12]
    grown = [grow_by_pose(g, tree, holes_mm, scene.view, mirrored=mirrored) for g in first]
    alive = sorted((g for g in grown if g is not None), key=lambda g: -g.count)
    return [Hypothesis(scene, g, mirrored) for g in _distinct(alive, holes_mm)[:keep]]


def same_place(a, b, holes_mm: np.ndarray, unit_per_mm: float, within_mm: float = 0.8) -> bool:
    """Do two placements put the holes at the same places (rms)?"""
    off = np.linalg.norm(a(holes_mm) - b(holes_mm), axis=1)
    return bool(np.sqrt(np.mean(off**2)) < within_mm * unit_per_mm)


def _distinct(grown: list[Grown], holes_mm: np.ndarray) -> list[Grown]:
    kept: list[Grown] = []
    for g in grown:
        if not any(same_place(g.placement, k.placement, holes_mm, k.unit_per_mm, 0.25) for k in kept):
            kept.append(g)
    return kept


def twins(best: Hypothesis, holes_mm: np.ndarray) -> list[Hypothesis]:
    """The placements most easily taken for the best: turned by half and quarter turns
    about its middle, moved by one of the design's commonest steps between holes, or
    mirrored about its middle."""
    tree = cKDTree(best.scene.xy[:SEEN])
    found = []
    unit = best.grown.unit_per_mm
    for move in twin_moves(holes_mm):
        place = best.placement @ move
        matched = match(tree, place(holes_mm), 0.4 * unit)
        if (matched >= 0).sum() >= 0.4 * best.grown.count:
            mirrored = best.mirrored != (move.determinant < 0)
            found.append(Hypothesis(best.scene, Grown(place, matched, unit), mirrored))
    found.sort(key=lambda h: -h.grown.count)
    return found[:5]


def pointed_out(scene: Scene, holes_mm: np.ndarray, pads, *, mirrored: bool) -> list[Hypothesis]:
    """The placement a person pointed out: pads are (hole number, u, v), two or more."""
    number = np.array([p[0] for p in pads]) - 1
    place = scene.view.to_plane(np.array([p[1:] for p in pads], dtype=np.float64))
    if not np.isfinite(place).all() or len(scene.xy) < 6:
        return []
    start = fit_similarity(holes_mm[number], place, mirrored=mirrored)
    tree = cKDTree(scene.xy[:SEEN])
    first = grow_in_plane(start, tree, holes_mm)
    grown = first and grow_by_pose(first, tree, holes_mm, scene.view, mirrored=mirrored)
    rough = Grown(start, match(tree, start(holes_mm), 0.8 * start.scale[0]), start.scale[0])
    return [Hypothesis(scene, g, mirrored) for g in (grown, rough) if g is not None]


def borne_out(to_px, holes_mm: np.ndarray, pads, within_px: float) -> bool:
    """Does a placement put the pads where the person saw them?"""
    number = np.array([p[0] for p in pads]) - 1
    off = to_px(holes_mm[number]) - np.array([p[1:] for p in pads])
    return bool((np.linalg.norm(off, axis=1) < within_px).all())
