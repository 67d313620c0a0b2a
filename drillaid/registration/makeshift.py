"""A rig made from one picture in which the board was found, where nobody has calibrated one.

A camera that stands fixed beside the spindle sees every board of one thickness in
the same plane. The design's own copper is a test pattern in that plane: pose, focal
length, the middle of the lens and its bend are fitted to all of its edges, or to the
centres of its lands where no copper is drawn, each with a prior on what cameras are
like, and the covariance is kept. What stays open is the print's true size: the
design's millimetres are the unit of all lengths.

The plane's frame: (0, 0) where the spindle axis meets the board's upper face, x to
the right in the picture there, y up in it, in mm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from drillaid.design.model import Design
from drillaid.geometry import Affine, as_points
from drillaid.registration.camera_fit import (
    ALL,
    FOCAL_AT,
    MIDDLE_AT,
    PRINT_AT,
    Readings,
    State,
    Step,
    drift,
    fit_readings,
    local_scale,
    print_columns,
    rigid_columns,
)
from drillaid.registration.copper import MANY, copper_edges, sharper_eye, some, visible
from drillaid.registration.edging import AGREE_MM, polarity_of
from drillaid.registration.pose import fit_pose, pose_from
from drillaid.registration.refined import systematic_mm2
from drillaid.registration.result import REGISTERED, Placement, Registration
from drillaid.registration.rims import FINEST_PX, WORTH, find_rings, ring_model
from drillaid.rig.rig import Rig
from drillaid.vision.centres import find_centres
from drillaid.vision.contours import EdgeModel, read_edges

REACHES_MM = (1.0, 0.7, 0.45, 0.3, 0.2)
SETTLED_MM, MOST_ROUNDS = (0.003, 0.02), 15  # of any edge, any land, in the last step
NEAR_MM = 0.5  # a reach below which the edges are where they should be, but for little
SETTLED = 0.15  # of one reading's scatter: blotched edges come and go, and it never rests
FEWEST = 60, 8  # edges, lands
LEAST_SHARE = 0.5, 0.35  # of what should be in view: edges, lands
FAR_MM = 2.0  # from where registration saw the holes: then one of the two is wrong


@dataclass(frozen=True, eq=False)
class Makeshift:
    """rig: its bench plane is the board's upper face (use it with thickness_mm=0)
    place: design mm -> plane mm in the picture it was made from
    covariance: (ALL, ALL) of `camera_fit`'s parameters
    share: of what should be in view, what agrees; scatter_mm: of one reading
    """

    rig: Rig
    place: Affine
    covariance: np.ndarray
    share: float
    scatter_mm: float

    def variance_mm2(self, place: Affine, seen_mm, at_mm) -> np.ndarray:
        """What the rig's own errors do to how far design points at_mm (N, 2) lie from the
        spindle axis: variance, both axes together, (N,).

        place is rigidly fitted to the board's points seen_mm (M, 2, design mm). With
        d(x) what an error of the rig moves the place of a pixel by, the offset comes out
        wrong by d(spindle) - [fit of d and print over all that was seen](hole) + print(hole).
        """
        seen, at = as_points(seen_mm), as_points(at_mm)
        points = np.vstack([place(seen), place(at), self.rig.axis_mm])
        field = drift(self.rig, points)
        grown = np.zeros((len(points) - 1, 2, ALL))
        grown[:, :, PRINT_AT] = print_columns(np.vstack([seen, at]), place)
        m = len(seen)
        rigid = rigid_columns(points[:-1])
        fit = np.linalg.pinv(rigid[:m].reshape(-1, 3)) @ (field[:m] - grown[:m]).reshape(-1, ALL)
        carried = field[-1] - rigid[m:] @ fit - grown[m:]
        return np.einsum("nik,kl,nil->n", carried, self.covariance, carried)

    def spindle_error_mm(self, covariance_px2) -> float:
        """One sigma of the distance in the plane that an error of the spindle's pixel makes."""
        back = np.linalg.inv(local_scale(self.rig, self.rig.axis_mm)[0])
        return float(np.sqrt(np.trace(back @ covariance_px2 @ back.T)))

    def registration(self, design: Design, of: Registration) -> Registration:
        """The registration without a rig that this was made from, now in the plane's mm.

        Its expected errors leave out what `variance_mm2` says.
        """
        holes = design.xy_mm
        at = self.place(holes)
        pixels = self.rig.to_pixels(at, 0.0)
        expected = np.full(len(holes), np.sqrt(systematic_mm2(self.scatter_mm)))
        placement = Placement(
            "affine", self.rig.plane(0.0) @ self.place, self.place, pixels, at, expected,
            of.placement.pad_seen, self.scatter_mm, self.rig.px_per_mm(0.0),
            land_missing=of.placement.land_missing,
        )  # fmt: skip
        return replace(of, status=REGISTERED, placement=placement)


def makeshift_rig(
    image: np.ndarray, design: Design, registration: Registration, spindle_px, *, face: str
) -> Makeshift | None:
    """None where the picture does not bear it out.

    image: uint8 BGR, in which `registration`, without a rig, found the board
    spindle_px: (2,) where the spindle axis meets the board's upper face, as photographed
    """
    if not registration.ok:
        raise ValueError("a rig can be made only from a picture in which the board was found")
    found = registration.placement
    by_lands = design.copper.get(face) is None
    got = fitted_camera(image, design, found, face=face, anchor_px=spindle_px)
    if got is None:
        return None
    state, step, share = got
    far = np.linalg.norm(state.to_px(design.xy_mm) - found.pixels, axis=1) / found.px_per_mm
    if share < LEAST_SHARE[by_lands] or not np.median(far) < FAR_MM:
        return None
    axis = state.rig.to_bench([spindle_px], 0.0)[0]
    if not np.isfinite(axis).all():
        return None
    rig = replace(state.rig, axis_mm=axis)
    return Makeshift(rig, state.place, step.covariance, share, step.scatter_mm)


def fitted_camera(
    image: np.ndarray, design: Design, found: Placement, *, face: str, anchor_px=None,
    cautious: bool = False, cropped: bool = False,
) -> tuple[State, Step, float] | None:  # fmt: skip
    """Camera and lens by all edges of the copper, or by the lands about the holes where no
    copper is drawn, from a placement without a rig; with the share of what was looked for
    that was found. None where the picture does not bear it out.

    anchor_px: (2,) the pixel that shall stay the plane's (0, 0); cautious: as in `fit_readings`
    cropped: the camera's middle may lie far from the picture's
    """
    size = image.shape[1], image.shape[0]
    state = _start(design, found, size, face == "bottom", cropped)
    by_lands = design.copper.get(face) is None
    if not by_lands:
        reader = _Edges(image, design, face, state, found.px_per_mm)
    else:
        reader = _Lands(image, design, state, found.px_per_mm)
    for number in range(len(REACHES_MM) + MOST_ROUNDS):
        reach = REACHES_MM[min(number, len(REACHES_MM) - 1)]
        readings = reader.read(state, reach)
        if readings is None:
            return None
        step = fit_readings(state, readings, reach, cautious=cautious)
        state = step.state if anchor_px is None else _anchored(step.state, anchor_px)
        settled_mm = max(SETTLED_MM[by_lands], SETTLED * step.scatter_mm)
        if number >= len(REACHES_MM) and step.moved_mm < settled_mm:
            return state, step, readings.share
    return None


def _start(
    design: Design, found: Placement, size: tuple[int, int], flip: bool, cropped: bool
) -> State:
    """A camera without lens terms, as near to the registration as one can come where lands
    were seen."""
    width, height = size
    seen = found.pad_seen
    seen = seen if seen.sum() >= FEWEST[1] else np.ones(len(seen), bool)
    holes, pixels = design.xy_mm[seen], found.pixels[seen]
    pose = pose_from(found.homography, holes, size, flip=flip, cropped=cropped)
    pose = fit_pose(holes, pixels, np.ones(len(pixels)), pose)
    focal = pose.focal_px
    middle = pose.parameters[8:10]
    matrix = np.diag([focal, focal, 1.0])
    matrix[:2, 2] = (width - 1) / 2 + middle[0], (height - 1) / 2 + middle[1]
    rig = Rig(width, height, matrix, np.zeros(5), pose.parameters[:3], pose.parameters[3:6])
    place = Affine.from_parts(mirrored=flip) @ Affine.from_parts(offset=-pose.centre_mm)
    known = np.zeros(ALL)
    known[FOCAL_AT], known[MIDDLE_AT] = pose.parameters[6], middle
    return State(rig, place, known, cropped=cropped)


def _anchored(state: State, spindle_px) -> State:
    """The same camera and board, with the plane's frame moved onto the spindle."""
    rig = state.rig
    at = rig.to_bench([spindle_px, np.asarray(spindle_px) + [1.0, 0.0]], 0.0)
    if not np.isfinite(at).all():
        return state
    right = at[1] - at[0]
    turn = Affine.from_parts(rotation_rad=np.arctan2(right[1], right[0]), offset=at[0])
    rotation = np.eye(3)
    rotation[:2, :2] = turn.linear
    rig = replace(
        rig, rotation_vector=cv2.Rodrigues(rig.rotation @ rotation)[0].ravel(),
        translation_mm=rig.rotation @ np.array([*turn.offset, 0.0]) + rig.translation_mm,
    )  # fmt: skip
    return replace(state, rig=rig, place=turn.inverse @ state.place)


class _Edges:
    """All edges of the drawn copper."""

    def __init__(self, image, design: Design, face: str, state: State, px_per_mm: float) -> None:
        self._model = some(copper_edges(design.copper[face]), MANY)
        self._image, self._px_per_mm, self._near = image, px_per_mm, False
        self._look(state)

    def _look(self, state: State) -> None:
        """In the mixture of colours that tells copper from board where `state` has its edges."""
        self._eye = sharper_eye(self._image, lambda px: px, self._model, state.to_px)

    def read(self, state: State, reach_mm: float) -> Readings | None:
        if reach_mm < NEAR_MM and not self._near:
            self._near = True  # the start lay beside many edges, on no colours or on others
            self._look(state)
        model = self._model.moved_in(state.etch_mm)
        inside = visible(self._eye, lambda px: px, model, state.to_px)
        got = read_edges(
            self._eye.grey, state.to_px, model, reach_mm, noise=self._eye.noise,
            px_per_unit=self._px_per_mm,
        )  # fmt: skip
        usable = got.clear & inside & (np.sign(got.step) == polarity_of(got, inside))
        if usable.sum() < FEWEST[0]:
            return None
        agree = np.abs(got.off[usable]) < AGREE_MM
        share = float(agree.sum() / inside.sum())
        return Readings(model.xy[usable], model.normal[usable], got.off[usable], True, share, state.etch_mm)


class _Lands:
    """The centres of the lands about the holes, their sizes read from the picture."""

    def __init__(self, image, design: Design, state: State, px_per_mm: float) -> None:
        from drillaid.vision.channel import grey_of
        from drillaid.vision.eye import Eye

        self._design, self._px_per_mm = design, px_per_mm
        self._finest_mm = max(0.08, FINEST_PX / px_per_mm)
        grey = grey_of(image)
        self._eye = Eye(grey.image, grey.noise)
        rings = self._rings(state, 0.35)
        self._eye = sharper_eye(image, lambda px: px, ring_model(design.xy_mm, rings), state.to_px)

    def _rings(self, state: State, slack_mm: float):
        return find_rings(
            self._eye, state.to_px, self._design.xy_mm, self._design.drill_mm, self._px_per_mm,
            slack_mm=slack_mm,
        )  # fmt: skip

    def read(self, state: State, reach_mm: float) -> Readings | None:
        holes = self._design.xy_mm
        rings = self._rings(state, max(reach_mm / 3, self._finest_mm))
        there = np.flatnonzero(rings.in_view & (rings.share >= WORTH))
        if len(there) < FEWEST[1]:
            return None
        got = find_centres(
            self._eye.grey, state.to_px, holes[there], rings.radius_mm[there],
            np.full(len(there), rings.polarity), noise=self._eye.noise, unit_px=self._px_per_mm,
        )  # fmt: skip
        off = got.xy - holes[there]
        good = got.found & (np.linalg.norm(off, axis=1) < reach_mm)
        if good.sum() < FEWEST[1]:
            return None
        count = int(good.sum())
        normal = np.repeat(np.eye(2), count, axis=0)
        share = float(count / max(rings.in_view.sum(), 1))
        xy = np.tile(holes[there][good], (2, 1))
        return Readings(xy, normal, off[good].T.ravel(), False, share)
