"""From a rough placement to the exact one: pads measured in the photograph, models weighed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.geometry import Affine, Homography
from drillaid.registration.copper import FEW, MANY, judge, sharper_eye, some, visible, voices
from drillaid.registration.edging import AGREE_MM, EdgeFit, fit_edges
from drillaid.registration.evidence import Evidence, strongest
from drillaid.registration.fit import PARAMETERS, PlaneFit, fit_plane, robust_weights
from drillaid.registration.hypotheses import Hypothesis
from drillaid.registration.oblique import PoseEdges, fit_pose_by_edges
from drillaid.registration.pose import Pose, fit_pose, pose_from
from drillaid.registration.probing import (
    AGREE_MM as PAD_AGREE_MM,
)
from drillaid.registration.probing import (
    Eye,
    Null,
    Probe,
    Shapes,
    probe,
    shapes_from,
    weigh_shapes,
)
from drillaid.registration.rims import SHARES, WORTH, Rings, find_rings, ring_evidence, ring_model
from drillaid.vision.centres import find_centres
from drillaid.vision.contours import EdgeModel, read_edges

# What no picture of ours could yet show to be smaller: etched edges wander
# alike on both sides of a pad, and artwork is printed in dots.
LEAST_PAD_SIGMA_MM = 0.008
TOLERANCES_MM = (0.1, 0.15, PAD_AGREE_MM)
FIRST_MM = 0.45  # a placement grown from sightings is about this well known


@dataclass(frozen=True, eq=False)
class Refined:
    """A placement with all that was measured for it.

    placement: design mm -> plane; to_px: design mm (N, 2) -> pixels as photographed
    agree: (N,) holes whose pad was seen where it should be
    variance_mm2: design mm (N, 2) -> (N,), of the stated place, both axes together
    model: as in the contract; shapes: what the pads look like, None where copper decided
    edges, eye: what copper was looked for, and in which mixture of colours, where it decided
    by: "copper", "rims" or "pads"
    """

    hypothesis: Hypothesis
    placement: Affine | Homography
    to_px: object
    agree: np.ndarray
    evidence: Evidence
    shapes: Shapes | None
    model: str
    variance_mm2: object
    px_per_mm: float
    residual_rms_mm: float
    edges: EdgeModel | None = None
    eye: Eye | None = None
    by: str = "pads"

    @property
    def support(self) -> float:
        return self.evidence.support()


def px_per_mm_of(scene, placement, holes_mm) -> float:
    """Pixels of the photograph per design mm at the middle of the holes, mean over directions."""
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
        agree = seen.agreeing(FIRST_MM if turn == 0 else PAD_AGREE_MM)
        if agree.sum() < 6:
            return None
        fit, _ = _fit(
            h, holes_mm, seen.px, seen.sigma_px, agree, ratio, last=turn == rounds - 1
        )
        placement = _placement_of(h, fit)
    to_px = chain(scene, placement, fit)
    shapes, null = weigh_shapes(eye, to_px, holes_mm, shapes, ratio)
    seen = probe(eye, to_px, holes_mm, shapes, ratio)
    agree = seen.agreeing()
    evidence = strongest([_count(seen, null, limit) for limit in tolerances])
    rms = float(np.sqrt(np.mean(seen.off_mm[agree] ** 2))) if agree.any() else float("nan")
    model, variance = _answer(fit, ratio)
    return Refined(h, placement, to_px, agree, evidence, shapes, model, variance, ratio, rms)


_NAMES = {"rigid": "rigid", "similarity": "similarity", "scales": "affine", "affine": "affine"}


def _answer(fit: PlaneFit | Pose, ratio: float):
    if isinstance(fit, PlaneFit):
        return _NAMES[fit.model], fit.variance_at
    return "projective", lambda xy: fit.variance_px2(xy) / ratio**2


def _count(seen: Probe, null: Null, within_mm: float) -> Evidence:
    # What a tight tolerance keeps of chance is at least its share of the area.
    wide, own = null.chance(PAD_AGREE_MM), null.chance(within_mm)
    chance = max(own, wide * (within_mm / PAD_AGREE_MM) ** 2)
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




def _fit(h: Hypothesis, holes_mm, px, sigma_px, agree, ratio: float, *, last: bool):
    """Robust fit of the pads that agree; the scatter between pads is part of their sigma."""
    index = np.flatnonzero(agree)
    source = holes_mm[index]
    scatter_mm = 0.05
    keep = np.ones(len(index), dtype=bool)
    fit = None
    for _ in range(4):
        sigma_mm = np.hypot(sigma_px[index] / ratio, scatter_mm)
        if h.scene.calibrated:
            target = h.scene.view.to_plane(px[index])
            fit = best_plane_fit(source[keep], target[keep], sigma_mm[keep], mirrored=h.mirrored)
            residual = target - fit.transform(source)
        else:
            pose = pose_from(
                h.scene.view.homography @ h.placement,
                holes_mm,
                h.scene.view.size_px,
                flip=h.mirrored,
            )
            fit = fit_pose(source[keep], px[index][keep], sigma_mm[keep] * ratio, pose)
            residual = (px[index] - fit(source)) / ratio
        weight, inflation = robust_weights(residual, sigma_mm)
        keep = weight > 0.05
        if keep.sum() < 6:
            keep = np.ones(len(index), dtype=bool)
        scatter_mm = scatter_between(residual[keep], sigma_px[index][keep] / ratio)
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


# What remains between the edges' mean and the truth whatever their number:
# blur that is not even, sampling, etching that is not the same on both sides.
EDGE_FLOOR_MM = 0.003
PAD_NEAR_MM = 1.6  # edges this near to a hole belong to its land


def refine_by_copper(
    eye: Eye, h: Hypothesis, start: Affine, to_plane_px, model: EdgeModel, holes_mm, ratio, chance
) -> Refined | None:
    """The exact placement by all edges of the copper.

    start: design mm -> frame of to_plane_px: the plane with a rig; without one the
    design frame itself, seen through the pose that the pads gave
    """
    judged = judge(
        eye, to_plane_px, some(model, MANY), start, ratio, chance, reaches=(0.4, 0.25, 0.2, 0.2)
    )
    if judged is None:
        return None
    fit = judged.fit

    def to_px(xy):
        return to_plane_px(fit.placement(xy))

    agree = pads_by_edges(eye, to_px, model, holes_mm, ratio, fit)
    floor = 2 * EDGE_FLOOR_MM**2
    placement = fit.placement if h.scene.calibrated else h.placement
    return Refined(
        h, placement, to_px, agree, judged.evidence, None,
        "affine" if h.scene.calibrated else "projective",
        lambda xy: fit.variance_at(xy) + floor, ratio, fit.scatter_mm, model, eye, "copper",
    )


def pads_by_edges(eye: Eye, to_px, model: EdgeModel, holes_mm, ratio: float, fit: EdgeFit | PoseEdges) -> np.ndarray:
    """(N,) bool: half of the edges round the hole are where they should be."""
    from scipy.spatial import cKDTree

    shifted = EdgeModel(model.xy + model.normal * fit.etch_mm, model.normal)
    got = read_edges(eye.grey, to_px, shifted, 0.2, noise=eye.noise, px_per_unit=ratio)
    good = got.clear & (np.abs(got.off) < AGREE_MM) & (np.sign(got.step) == fit.polarity)
    good &= visible(eye, lambda xy: xy, model, to_px)
    near = cKDTree(model.xy).query_ball_point(holes_mm, PAD_NEAR_MM)
    return np.array([len(i) >= 4 and good[i].mean() > 0.5 for i in near])


def refine_by_oblique_copper(
    image, h: Hypothesis, pose: Pose, model: EdgeModel, holes_mm, ratio: float
) -> Refined | None:
    """The same without a rig: pose and focal length by all edges of the copper."""
    part = some(model, MANY)
    eye = sharper_eye(image, lambda px: px, some(model, FEW), pose)
    got = fit_pose_by_edges(eye, pose, part, ratio)
    if got is None:
        return None
    chance = oblique_chance(eye, got.pose, some(model, FEW), ratio)
    seen = visible(eye, lambda px: px, part, got.pose)
    count = voices(part.only(seen)) if seen.any() else 0.0
    evidence = Evidence(round(got.share * count), round(count), chance, AGREE_MM)
    agree = pads_by_edges(eye, got.pose, model, holes_mm, ratio, got)
    floor = 2 * EDGE_FLOOR_MM**2
    return Refined(
        h, h.placement, got.pose, agree, evidence, None, "projective",
        lambda xy: got.pose.variance_px2(xy) / ratio**2 + floor, ratio, got.scatter_mm, model, eye, "copper",
    )  # fmt: skip


def oblique_chance(eye: Eye, pose: Pose, model: EdgeModel, ratio: float, seed: int = 0) -> float:
    """As `copper.chance_of`: the copper laid beside where it is."""
    rng = np.random.default_rng(seed)
    shares = []
    for angle, length in zip(rng.uniform(0, 2 * np.pi, 6), rng.uniform(1.6, 6.0, 6), strict=True):
        beside = EdgeModel(model.xy + length * np.array([np.cos(angle), np.sin(angle)]), model.normal)
        got = fit_pose_by_edges(eye, pose, beside, ratio, reaches=(0.3, 0.3))
        shares.append(0.05 if got is None else got.share)
    return float(np.clip(np.mean(shares) + 1.5 * np.std(shares), 0.05, 0.95))


def refine_by_rings(
    image, h: Hypothesis, eye: Eye, holes_mm, drill_mm, ratio: float, *,
    shares: tuple[float, ...] = SHARES,
) -> Refined | None:
    """The exact placement by the rims of lands nobody has drawn, with a rig or without.

    Rims are found, the placement moved onto them, and found again closer by; at last
    in the mixture of colours that tells land from board best (image None: as `eye` is).
    """
    scene = h.scene
    on_bench = scene.calibrated
    if on_bench:
        place, to_px = h.placement, chain(scene, h.placement)
    else:
        view = scene.view
        place = pose_from(view.homography @ h.placement, holes_mm, view.size_px, flip=h.mirrored)
        to_px = place
    got = None
    for slack in (0.25, 0.15, 0.1, 0.08):
        rings = find_rings(eye, to_px, holes_mm, drill_mm, ratio, slack_mm=slack)
        model = ring_model(holes_mm, rings)
        if len(model) < 60:
            return None
        if on_bench:
            got = fit_edges(
                eye.grey, scene.view.to_px, model, place, noise=eye.noise, px_per_mm=ratio,
                reaches=(2 * slack, 1.5 * slack), affine=slack < 0.2,
            )  # fmt: skip
        else:
            got = fit_pose_by_edges(eye, place, model, ratio, reaches=(2 * slack, 1.5 * slack))
        if got is None:
            return None
        place = got.placement if on_bench else got.pose
        to_px = chain(scene, place) if on_bench else place
        if slack > 0.2 and image is not None:
            eye = sharper_eye(image, lambda px: px, model, to_px)
    centred = _onto_centres(h, eye, to_px, holes_mm, rings, ratio)
    if centred is None:
        return None
    fit, place, to_px, rms = centred
    evidence, rings = ring_evidence(eye, to_px, holes_mm, drill_mm, ratio, shares=shares)
    name, variance = _answer(fit, ratio)
    floor = 2 * EDGE_FLOOR_MM**2
    return Refined(
        h, place, to_px, rings.in_view & (rings.share >= SHARES[0]), evidence, None, name,
        lambda xy: variance(xy) + floor, ratio, rms, ring_model(holes_mm, rings), eye, "rims",
    )  # fmt: skip


def _onto_centres(h: Hypothesis, eye: Eye, to_px, holes_mm, rings: Rings, ratio: float):
    """The placement through the rims' centres, each from opposite sides of its rim.

    A rim seen on one side only, where a track leaves or the neighbour's clearance
    looks like one, says nothing about its centre and is left out.
    """
    there = np.flatnonzero(rings.in_view & (rings.share >= WORTH))
    fit = place = None
    for last in (False, True):
        got = find_centres(
            eye.grey, to_px, holes_mm[there], rings.radius_mm[there],
            np.full(len(there), rings.polarity), noise=eye.noise, unit_px=ratio,
        )  # fmt: skip
        off = np.linalg.norm(got.xy - holes_mm[there], axis=1)
        found = np.zeros(len(holes_mm), dtype=bool)
        found[there] = got.found & (got.cover >= 0.4) & (off < PAD_AGREE_MM)
        if found.sum() < 6:
            return None
        px, sigma = np.zeros_like(holes_mm), np.ones(len(holes_mm))
        px[there], sigma[there] = to_px(got.xy), got.sigma * ratio
        fit, _ = _fit(h, holes_mm, px, sigma, found, ratio, last=last)
        place = _placement_of(h, fit)
        to_px = chain(h.scene, place, fit)
    rms = float(np.sqrt(np.mean(off[found[there]] ** 2)))
    return fit, place, to_px, rms
