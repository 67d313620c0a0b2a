"""From a rough placement to the exact one: pads measured in the photograph, models weighed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.geometry import Affine, Homography
from drillaid.registration.evidence import Evidence, strongest
from drillaid.registration.fit import PARAMETERS, PlaneFit, fit_plane, robust_weights
from drillaid.registration.hypotheses import Hypothesis
from drillaid.registration.pose import Pose, fit_pose, pose_from
from drillaid.registration.probing import (
    AGREE_MM,
    Eye,
    Null,
    Probe,
    Shapes,
    probe,
    shapes_from,
    weigh_shapes,
)

# What no picture of ours could yet show to be smaller: etched edges wander
# alike on both sides of a pad, and artwork is printed in dots.
LEAST_PAD_SIGMA_MM = 0.008
TOLERANCES_MM = (0.1, 0.15, AGREE_MM)
FIRST_MM = 0.45  # a placement grown from sightings is about this well known


@dataclass(frozen=True, eq=False)
class Refined:
    """A placement with all that was measured for it.

    placement: design mm -> plane; fit: with a rig a PlaneFit, without a Pose
    """

    hypothesis: Hypothesis
    placement: Affine | Homography
    probe: Probe
    agree: np.ndarray
    evidence: Evidence
    shapes: Shapes
    fit: PlaneFit | Pose | None
    px_per_mm: float
    residual_rms_mm: float

    @property
    def support(self) -> float:
        return self.evidence.support()


def px_per_mm_of(scene, placement, holes_mm) -> float:
    middle = holes_mm.mean(axis=0)
    near = middle + np.array([[0.0, 0.0], [0.5, 0.0], [0.0, 0.5]])
    px = scene.view.to_px(placement(near))
    step = (px[1:] - px[0]) / 0.5
    return float(np.sqrt(abs(np.linalg.det(step))))


def initial_shapes(h: Hypothesis) -> Shapes:
    """What the sightings that agree so far look like."""
    index = h.grown.matched[h.grown.matched >= 0]
    return shapes_from(h.scene.radius[index] / h.grown.unit_per_mm, h.scene.side[index])


def refine(
    eye: Eye,
    h: Hypothesis,
    holes_mm: np.ndarray,
    *,
    shapes: Shapes | None = None,
    rounds: int = 3,
    tolerances: tuple[float, ...] = TOLERANCES_MM,
) -> Refined | None:
    """Measures and fits; None where too little agrees to fit anything.

    shapes: None to find out what the pads look like, else taken as given (rivals
    are judged by the same eye as the best)
    """
    scene, placement = h.scene, h.placement
    ratio = px_per_mm_of(scene, placement, holes_mm)
    to_px = chain(scene, placement)
    first = initial_shapes(h) if shapes is None else shapes
    shapes, null = weigh_shapes(eye, to_px, holes_mm, first, ratio, within_mm=FIRST_MM)
    fit = None
    for turn in range(rounds):
        to_px = chain(scene, placement, fit)
        seen = probe(eye, to_px, holes_mm, shapes, ratio)
        agree = seen.agreeing(FIRST_MM if turn == 0 else AGREE_MM)
        if agree.sum() < 6:
            return None
        fit, weight = _fit(h, holes_mm, seen, agree, ratio, last=turn == rounds - 1)
        placement = _placement_of(h, fit)
    to_px = chain(scene, placement, fit)
    shapes, null = weigh_shapes(eye, to_px, holes_mm, shapes, ratio)
    seen = probe(eye, to_px, holes_mm, shapes, ratio)
    agree = seen.agreeing()
    evidence = strongest([_count(seen, null, limit) for limit in tolerances])
    rms = float(np.sqrt(np.mean(seen.off_mm[agree] ** 2))) if agree.any() else float("nan")
    return Refined(h, placement, seen, agree, evidence, shapes, fit, ratio, rms)


def _count(seen: Probe, null: Null, within_mm: float) -> Evidence:
    # What a tight tolerance keeps of chance is at least its share of the area.
    wide, own = null.chance(AGREE_MM), null.chance(within_mm)
    chance = max(own, wide * (within_mm / AGREE_MM) ** 2)
    agreeing = int(seen.agreeing(within_mm).sum())
    return Evidence(agreeing, int(seen.in_view.sum()), chance, within_mm)


def chain(scene, placement, fit=None):
    """Design mm -> pixels as photographed; a fitted pose brings its own lens."""
    if isinstance(fit, Pose):
        return fit
    return lambda xy: scene.view.to_px(placement(xy))


def _placement_of(h: Hypothesis, fit) -> Affine | Homography:
    if isinstance(fit, PlaneFit):
        return fit.transform
    return h.scene.view.homography.inverse @ fit.homography




def _fit(h: Hypothesis, holes_mm, seen: Probe, agree, ratio: float, *, last: bool):
    """Robust fit of the pads that agree; the scatter between pads is part of their sigma."""
    index = np.flatnonzero(agree)
    source = holes_mm[index]
    scatter_mm = 0.05
    keep = np.ones(len(index), dtype=bool)
    fit = None
    for _ in range(4):
        sigma_mm = np.hypot(seen.sigma_px[index] / ratio, scatter_mm)
        if h.scene.calibrated:
            target = h.scene.view.to_plane(seen.px[index])
            fit = best_plane_fit(source[keep], target[keep], sigma_mm[keep], mirrored=h.mirrored)
            residual = target - fit.transform(source)
        else:
            pose = pose_from(
                h.scene.view.homography @ h.placement,
                holes_mm,
                h.scene.view.size_px,
                flip=h.mirrored,
            )
            fit = fit_pose(source[keep], seen.px[index][keep], sigma_mm[keep] * ratio, pose)
            residual = (seen.px[index] - fit(source)) / ratio
        weight, inflation = robust_weights(residual, sigma_mm)
        keep = weight > 0.05
        if keep.sum() < 6:
            keep = np.ones(len(index), dtype=bool)
        scatter_mm = scatter_between(residual[keep], seen.sigma_px[index][keep] / ratio)
        if not last:
            break
    return fit, weight


def scatter_between(residual_mm: np.ndarray, sigma_mm: np.ndarray) -> float:
    """The part of the scatter (one axis, mm) that the pads' own sigmas do not explain."""
    length = np.linalg.norm(residual_mm, axis=1)
    total = np.median(length) / 1.17741  # Rayleigh median, in sigmas of one axis
    own = np.median(sigma_mm)
    return float(np.sqrt(max(total**2 - own**2, LEAST_PAD_SIGMA_MM**2)))


def best_plane_fit(source, target, sigma, *, mirrored: bool) -> PlaneFit:
    """The model with the smallest Bayesian information criterion (G. Schwarz, Annals of
    Statistics 6(2), 1978; from memory): chi2 + parameters * ln(number of readings)."""
    best, price = None, np.inf
    for model in ("rigid", "similarity", "scales", "affine"):
        if 2 * len(source) < PARAMETERS[model] + 4:
            continue
        fit = fit_plane(source, target, sigma, model, mirrored=mirrored)
        own = fit.chi2 + PARAMETERS[model] * np.log(2 * len(source))
        if own < price:
            best, price = fit, own
    return best
