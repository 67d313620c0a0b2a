"""Without a rig: the exact placement with the camera's lens fitted to the copper's edges.

A plain homography is off by what the lens bends, several pixels in the corners of a usual
webcam. Where the design's copper is known there are edges enough to fit the lens as well
(`camera_fit`), each unknown with a prior on what cameras are like; its covariance says what
can be vouched for.
"""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from drillaid.design.model import Design
from drillaid.geometry import Affine, Homography
from drillaid.registration.camera_fit import PRINT_AT, State, drift, print_columns
from drillaid.registration.copper import chance_of, copper_edges, sharper_eye, some
from drillaid.registration.hypotheses import Hypothesis
from drillaid.registration.makeshift import fitted_camera
from drillaid.registration.refine_copper import refine_by_copper
from drillaid.registration.refined import Refined, chain, px_per_mm_of, systematic_mm2
from drillaid.registration.result import Placement

FEW = 500
LANDS_SHARE, MOVED_MM = 0.4, 0.3  # to believe a lens fitted to lands
STRAY_MM = 0.04  # beyond which lands drilled by hand would bend the lens after them


def refine_through_lens(image, design: Design, face: str, h: Hypothesis, mirrored: bool) -> Refined | None:
    """None where the edges do not bear the hypothesis out.

    image: uint8 BGR; face: whose copper is looked for; mirrored: how it appears
    """
    holes, model = design.xy_mm, copper_edges(design.copper[face])
    rough = chain(h.scene, h.placement)
    ratio = px_per_mm_of(h.scene, h.placement, holes)
    start = Homography.of(h.scene.view.homography) @ h.placement
    at = rough(holes)
    found = Placement(
        "projective", Homography.scaled_for(start.matrix, holes), None, at, None,
        np.zeros(len(holes)), np.ones(len(holes), bool), 0.0, ratio,
    )  # fmt: skip
    got = fitted_camera(image, _as_seen(design, face, mirrored), found, face=_seen_as(mirrored))
    if got is None:
        return None
    state, step, _ = got
    eye = sharper_eye(image, lambda px: px, some(model, FEW), state.to_px)
    here = Affine.identity()
    chance = chance_of(eye, state.to_px, model, here, ratio)
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
    found = Placement(
        "projective", Homography.scaled_for(through, holes), None, at, None,
        np.zeros(len(holes)), np.ones(len(holes), bool), 0.0, r.px_per_mm,
    )  # fmt: skip
    got = fitted_camera(image, replace(design, copper={}), found, face=_seen_as(mirrored))
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
