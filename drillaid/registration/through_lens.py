"""Without a rig: the exact placement with the camera's lens fitted to the copper's edges.

A plain homography is off by what the lens bends, several pixels in the corners of a usual
webcam. Where the design's copper is known there are edges enough to fit the lens as well
(`camera_fit`), each unknown with a prior on what cameras are like; its covariance says what
can be vouched for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from drillaid.design.model import Design
from drillaid.geometry import Affine, Homography
from drillaid.processors import meanwhile
from drillaid.registration.camera_fit import PRINT_AT, State, drift, print_columns
from drillaid.registration.chance import chance_of
from drillaid.registration.copper import copper_edges, sharper_eye, some
from drillaid.registration.hypotheses import Hypothesis
from drillaid.registration.makeshift import fitted_camera
from drillaid.registration.pose import pose_from
from drillaid.registration.refine_copper import refine_by_copper
from drillaid.registration.refined import Refined, better, chain, systematic_mm2
from drillaid.registration.result import Placement
from drillaid.vision.eye import inside

FEW = 500
FEWEST_LANDS = 8  # through which a camera is started again
LANDS_SHARE, MOVED_MM = 0.4, 0.3  # to believe a lens fitted to lands
CROPPED_MM = 0.25  # beside where an uncropped camera has it
WELL_SEEN, AS_WELL = 0.9, 0.95  # of the lands; of the support
STRAY_MM = 0.04  # beyond which lands drilled by hand would bend the lens after them


def refine_through_lens(image, design: Design, face: str, h: Hypothesis, mirrored: bool) -> Refined | None:
    """None where the edges do not bear the hypothesis out.

    image: uint8 BGR; face: whose copper is looked for; mirrored: how it appears

    From a rough start one end of a board may be taken for something else and the lens bent
    after it. So where some of the board does not agree, the fit starts once more from a
    plain camera through the rest; where that does not help, all over again with a lens that
    is set free little by little. What no uncropped camera could show is taken for cropped first.
    What agrees best is kept; and then the camera's middle is fitted as well, which so many edges
    tell better than any guess (on cropped benches holes were 0.12 mm off without, 0.03 with).
    """
    holes = design.xy_mm
    start = Homography.of(h.scene.view.homography) @ h.placement
    at, every = chain(h.scene, h.placement)(holes), np.ones(len(holes), bool)
    rough = _start(start.matrix, holes, at, every, _px_per_mm(start, holes))

    def fitted(from_: Placement, way: _Way) -> Refined | None:
        return _fitted(image, design, face, h, mirrored, from_, way)

    best, kept = None, None
    for way in _ways(rough, holes, h.scene.view.size_px, mirrored):
        got = fitted(rough, way)
        again = None if got is None else _from_what_agrees(got, holes)
        for r in (got, None if again is None else fitted(again, way)):
            if better(best, r) is not best:
                best, kept = r, way
        if best is not None and (_all_agree(best, holes) or _well_seen(best)):
            break
    if best is None or kept.cropped or not best.evidence.convincing:
        return best
    free = fitted(_through(best, holes, every), _Way(cropped=True))
    return best if free is None or free.support < AS_WELL * best.support else free


@dataclass(frozen=True)
class _Way:
    """How a camera is fitted, as in `fitted_camera`."""

    cautious: bool = False
    cropped: bool = False


def _ways(rough: Placement, holes: np.ndarray, size_px: tuple[int, int], mirrored: bool) -> list[_Way]:
    """In the order in which they are worth trying: what no uncropped camera shows is cropped,
    or rough."""
    plain = [_Way(), _Way(cautious=True)]
    pose = pose_from(rough.homography, holes, size_px, flip=mirrored)
    # A stretched print would make up for a middle that is elsewhere.
    aside_px = np.linalg.norm(pose.unstretched(holes) - rough.pixels, axis=1)
    aside_mm = float(np.median(aside_px)) / rough.px_per_mm
    return [_Way(cropped=True), *plain] if aside_mm > CROPPED_MM else plain


def _all_agree(r: Refined, holes: np.ndarray) -> bool:
    """Does every land that is in view?"""
    return bool(r.agree[inside(r.eye.size_px, r.to_px(holes), 2.0)].all())


def _well_seen(r: Refined) -> bool:
    """Nearly every land, so that what does not agree is no end of the board."""
    return r.evidence.convincing and r.evidence.lands >= WELL_SEEN


def _from_what_agrees(r: Refined, holes: np.ndarray) -> Placement | None:
    """A start through the lands that agree; None where all do, or too few."""
    if _all_agree(r, holes) or r.agree.sum() < FEWEST_LANDS:
        return None
    return _through(r, holes, r.agree)


def _through(r: Refined, holes: np.ndarray, by: np.ndarray) -> Placement | None:
    """A plain camera's start, through the holes `by` as r has them."""
    px = r.to_px(holes)
    through = cv2.findHomography(holes[by], px[by], 0)[0]
    if through is None:
        return None
    return _start(through, holes, px, by, _px_per_mm(Homography(through), holes[by]))


def _start(matrix, holes: np.ndarray, px: np.ndarray, agree: np.ndarray, ratio: float) -> Placement:
    """matrix: of a homography, design mm -> px; agree: (N,) the holes to go by"""
    homography = Homography.scaled_for(matrix, holes)
    return Placement(
        "projective", homography, None, px, None, np.zeros(len(holes)), agree, 0.0, ratio
    )


def _px_per_mm(homography: Homography, holes: np.ndarray) -> float:
    middle = homography.jacobian(holes.mean(axis=0, keepdims=True))[0]
    return float(np.sqrt(abs(np.linalg.det(middle))))


def _fitted(
    image, design: Design, face: str, h: Hypothesis, mirrored: bool, start: Placement | None,
    way: _Way,
) -> Refined | None:  # fmt: skip
    if start is None:
        return None
    holes, model, ratio = design.xy_mm, copper_edges(design.copper[face]), start.px_per_mm
    seen = _as_seen(design, face, mirrored)
    got = fitted_camera(
        image, seen, start, face=_seen_as(mirrored), cautious=way.cautious, cropped=way.cropped
    )
    if got is None:
        return None
    state, step, _ = got
    eye = sharper_eye(image, lambda px: px, some(model, FEW), state.to_px)
    here = Affine.identity()
    with meanwhile(chance_of, eye, state.to_px, model, here, ratio) as chance:
        refined = refine_by_copper(eye, h, here, state.to_px, model, holes, ratio, chance)
    if refined is None:
        return None
    floor = systematic_mm2(step.scatter_mm)
    return replace(
        refined,
        to_px=state.to_px,
        variance_mm2=lambda xy: _variance_mm2(state, step.covariance, xy) + floor,
    )


def lands_through_lens(image, design: Design, r: Refined) -> Refined:
    """The same placement with the lens fitted to the lands' centres; as it was where there
    are too few of them to bear that out."""
    holes, mirrored = design.xy_mm, r.hypothesis.mirrored
    at = r.to_px(holes)
    # The plain homography nearest to where the holes are.
    through = cv2.findHomography(holes, at, 0)[0]
    found = _start(through, holes, at, np.ones(len(holes), bool), r.px_per_mm)
    got = fitted_camera(
        image, replace(design, copper={}), found, face=_seen_as(mirrored), cropped=r.cropped
    )
    if got is None:
        return r
    state, step, share = got
    moved = np.linalg.norm(state.to_px(holes) - at, axis=1) / r.px_per_mm
    if share < LANDS_SHARE or step.scatter_mm > STRAY_MM or not np.median(moved) < MOVED_MM:
        return r
    floor = systematic_mm2(step.scatter_mm)

    def variance_mm2(xy) -> np.ndarray:
        return _variance_mm2(state, step.covariance, xy) + floor

    return replace(
        r, to_px=state.to_px, variance_mm2=variance_mm2, residual_rms_mm=float(step.scatter_mm)
    )


def _seen_as(mirrored: bool) -> str:
    return "bottom" if mirrored else "top"


def _as_seen(design: Design, face: str, mirrored: bool) -> Design:
    """The copper of `face` filed under the face that it appears as: mirrored artwork looks
    like the other one."""
    return replace(design, copper={_seen_as(mirrored): design.copper[face]})


def _variance_mm2(state: State, covariance: np.ndarray, xy) -> np.ndarray:
    """Of the stated places of design points (N, 2), both axes together, (N,)."""
    plane = state.place(xy)
    columns = -drift(state.rig, plane)
    columns[:, :, PRINT_AT] = print_columns(xy, state.place)
    return np.einsum("nik,kl,nil->n", columns, covariance, columns)
