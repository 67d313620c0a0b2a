"""The exact placement by the rims of lands nobody has drawn, with a rig and without."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from drillaid.geometry import Affine, Homography
from drillaid.registration.copper import sharper_eye
from drillaid.registration.edging import LEFT_OUT, blocks_of, fit_edges, jackknife
from drillaid.registration.evidence import LEAST_SHARE, NEARLY_ALL, Evidence
from drillaid.registration.fit import (
    PARAMETERS,
    PlaneFit,
    fit_plane,
    print_covariance,
    robust_weights,
)
from drillaid.registration.hypotheses import Hypothesis
from drillaid.registration.oblique import fit_pose_by_edges
from drillaid.registration.pose import Pose, fit_pose, pose_from
from drillaid.registration.refined import ENOUGH_OTHERS, Refined, better, chain, systematic_mm2
from drillaid.registration.rims import (
    FINEST_PX,
    SHARES,
    SLACK_MM,
    WORTH,
    Rings,
    find_rings,
    ring_evidence,
    ring_model,
)
from drillaid.vision.centres import find_centres
from drillaid.vision.eye import Eye

# What no picture of ours could yet show to be smaller: etched edges wander
# alike on both sides of a pad, and artwork is printed in dots.
LEAST_PAD_SIGMA_MM = 0.008
# Without a rig a placement is fitted again from where it came to: on photographs right ones went
# from 12 of 22 lands to 19 that way, wrong ones from 16 to 17.
PATIENCE, LEAST_AGAIN, EMPTY_AGAIN = 3, 15.0, 0.25  # times; support; of the holes
CENTRE_MM = 0.22  # etching and print leave pads this far off at the most


def refine_by_rings(
    image, h: Hypothesis, eye: Eye, holes_mm, drill_mm, ratio: float, *,
    shares: tuple[float, ...] = SHARES, cropped: bool = False,
) -> Refined | None:  # fmt: skip
    """The exact placement by the rims of lands nobody has drawn, with a rig or without.

    Rims are found, the placement moved onto them, and found again closer by; at last
    in the mixture of colours that tells land from board best (image None: as `eye` is).

    cropped: as in `Pose`, where there is no rig
    """
    scene = h.scene
    on_bench = scene.calibrated
    if on_bench:
        place, to_px = h.placement, chain(scene, h.placement)
    else:
        view = scene.view
        place = pose_from(
            view.homography @ h.placement, holes_mm, view.size_px, flip=h.mirrored, cropped=cropped
        )
        to_px = place
    got = None
    finest = max(SLACK_MM, FINEST_PX / ratio)
    for slack in (max(0.25, finest), max(0.15, finest), max(0.1, finest), finest):
        # Without a rig many more placements are possible, and so are rows of other things.
        alike = not on_bench and slack < 0.25
        rings = find_rings(eye, to_px, holes_mm, drill_mm, ratio, slack_mm=slack, alike=alike)
        model = ring_model(holes_mm, rings)
        there = rings.share[rings.in_view] >= WORTH
        if len(model) < 60 or there.mean() < LEAST_SHARE - 0.1:
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
    centred = _onto_centres(h, eye, to_px, holes_mm, rings, ratio, cropped)
    if centred is None:
        return None
    fit, place, to_px, rms = centred
    evidence, rings = ring_evidence(
        eye, to_px, holes_mm, drill_mm, ratio, slack_mm=finest, shares=shares, alike=not on_bench
    )
    name, variance = _answer(fit, ratio)
    # What scatters the centres is in their own covariance already.
    floor = systematic_mm2(0.0)
    return Refined(
        h, place, to_px, rings.in_view & (rings.share >= WORTH), evidence, name,
        lambda xy: variance(xy) + floor, ratio, rms, ring_model(holes_mm, rings), eye, "rims",
    )  # fmt: skip


def refine_by_lands(
    image, h: Hypothesis, eye: Eye, holes_mm, drill_mm, ratio: float
) -> Refined | None:
    """As `refine_by_rings`; without a rig, where not nearly all holes agree, also as a cropped
    picture, and again from where that came to, for as long as more agrees."""

    def refined(start: Hypothesis, cropped: bool) -> Refined | None:
        return refine_by_rings(image, start, eye, holes_mm, drill_mm, ratio, cropped=cropped)

    best = refined(h, False)
    if h.scene.calibrated or _nearly_all(best):
        return best
    best = latest = better(best, refined(h, True))
    idle = 0
    while latest is not None and idle < _patience(best) and not _nearly_all(best):
        if not _worth_another(latest.evidence):
            break
        start = replace(h, grown=replace(h.grown, placement=latest.placement))
        latest = better(refined(start, True), refined(start, False))
        idle = idle + 1 if better(best, latest) is best else 0
        best = better(best, latest)
    return best


def _nearly_all(r: Refined | None) -> bool:
    return r is not None and r.evidence.share >= NEARLY_ALL


def _patience(best: Refined) -> int:
    """How often it may come to nothing better: once where it is surely the place."""
    return 1 if best.support >= ENOUGH_OTHERS else PATIENCE


def _worth_another(e: Evidence) -> bool:
    """Some of a right place's holes are missed at first; that most show nothing is rare there."""
    return e.support() >= LEAST_AGAIN and e.empty <= EMPTY_AGAIN * e.in_view


def _onto_centres(
    h: Hypothesis, eye: Eye, to_px, holes_mm, rings: Rings, ratio: float, cropped: bool
):
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
        found[there] = got.found & (got.cover >= 0.4) & (off < CENTRE_MM)
        if found.sum() < 6:
            return None
        px, sigma = np.zeros_like(holes_mm), np.ones(len(holes_mm))
        px[there], sigma[there] = to_px(got.xy), got.sigma * ratio
        fit, _ = fit_centres(h, holes_mm, px, sigma, found, ratio, last=last, cropped=cropped)
        place = _placement_of(h, fit)
        to_px = chain(h.scene, place, fit)
    rms = float(np.sqrt(np.mean(off[found[there]] ** 2)))
    return fit, place, to_px, rms


NAMES = {"rigid": "rigid", "similarity": "similarity", "scales": "affine", "affine": "affine"}


def _answer(fit: PlaneFit | Pose, ratio: float):
    if isinstance(fit, PlaneFit):
        return NAMES[fit.model], fit.variance_at
    return "projective", lambda xy: fit.variance_px2(xy) / ratio**2


def _placement_of(h: Hypothesis, fit) -> Affine | Homography:
    if isinstance(fit, PlaneFit):
        return fit.transform
    return h.scene.view.homography.inverse @ fit.homography


def fit_centres(
    h: Hypothesis, holes_mm, px, sigma_px, agree, ratio: float, *, last: bool, cropped: bool
):
    """Robust fit of the pads that agree; the scatter between pads is part of their sigma.

    px, sigma_px: (N, 2) and (N,), where each hole's pad was seen and how exactly; agree: (N,)
    bool; last: with the covariance that counts what leaving out a part of the board changes
    Second the weight of each pad that agrees.
    """
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
            fitted = source[keep], target[keep], sigma_mm[keep]
            residual = target - fit.transform(source)
        else:
            pose = pose_from(
                h.scene.view.homography @ h.placement,
                holes_mm,
                h.scene.view.size_px,
                flip=h.mirrored,
                cropped=cropped,
            )
            fit = fit_pose(source[keep], px[index][keep], sigma_mm[keep] * ratio, pose)
            residual = (px[index] - fit(source)) / ratio
        weight, _ = robust_weights(residual, sigma_mm)
        keep = weight > 0.05
        if keep.sum() < 6:
            keep = np.ones(len(index), dtype=bool)
        scatter_mm = scatter_between(residual[keep], sigma_px[index][keep] / ratio)
        if not last:
            break
    if last and h.scene.calibrated:
        fit = replace(fit, covariance=_doubt(fit, *fitted, mirrored=h.mirrored))
    elif last:
        fit = _doubted(fit, source[keep], px[index][keep], sigma_mm[keep] * ratio)
    return fit, weight


def _doubt(fit: PlaneFit, source, target, sigma, *, mirrored: bool) -> np.ndarray:
    """(6, 6) of the matrix rows: what the pads' sigmas leave open, and what leaving out a
    part of the board changes (see `edging`): one side's shadow shifts many pads alike."""
    total = print_covariance(fit, source, sigma)
    block = blocks_of(source, LEFT_OUT)
    if len(source) >= 2 * LEFT_OUT:
        rows = [
            fit_plane(*(part[block != k] for part in (source, target, sigma)), fit.model,
                      mirrored=mirrored).transform.matrix.ravel()
            for k in range(LEFT_OUT)
        ]  # fmt: skip
        total = total + jackknife(np.array(rows))
    return total


def _doubted(pose: Pose, source, px, sigma_px) -> Pose:
    """The same pose, its covariance with what leaving out a part of the board changes."""
    if len(source) < 2 * LEFT_OUT:
        return pose
    block, n = blocks_of(source, LEFT_OUT), pose.fitted
    left_out = np.array(
        [
            fit_pose(*(part[block != k] for part in (source, px, sigma_px)), pose).parameters[:n]
            for k in range(LEFT_OUT)
        ]
    )
    covariance = pose.covariance.copy()
    covariance[:n, :n] += jackknife(left_out)
    return replace(pose, covariance=covariance)


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
