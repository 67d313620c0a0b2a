"""The exact placement by the design's own copper, with a rig and without."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from drillaid.geometry import Affine
from drillaid.registration.copper import FEW, MANY, judge, sharper_eye, some, visible
from drillaid.registration.edging import AGREE_MM, EdgeFit
from drillaid.registration.evidence import Evidence
from drillaid.registration.hypotheses import Hypothesis
from drillaid.registration.oblique import PoseEdges, fit_pose_by_edges
from drillaid.registration.pose import Pose
from drillaid.registration.refined import SETTLED_FLOOR_MM, Refined, systematic_mm2
from drillaid.registration.stretches import Stretches, stretches_seen, voices
from drillaid.vision.contours import EdgeModel, read_edges
from drillaid.vision.eye import Eye

SETTLED_BY = 4000  # edge points, all of them in view
PAD_NEAR_MM, LEAST_EDGES = 1.6, 4  # edges this near to a hole belong to its land; so many tell it


def refine_by_copper(
    eye: Eye, h: Hypothesis, start: Affine, to_plane_px, model: EdgeModel, holes_mm, ratio,
    chance: Callable[[], float],
) -> Refined | None:
    """The exact placement by all edges of the copper.

    start: design mm -> frame of to_plane_px: the plane with a rig; without one the
    design frame itself, seen through the pose that the pads gave
    chance: asked for at the end only
    """  # fmt: skip
    part = some(model.only(visible(eye, to_plane_px, model, start)), SETTLED_BY)
    judged = judge(
        eye, to_plane_px, part, start, ratio, 0.5, reaches=(0.4, 0.25, 0.2), thorough=True
    )
    if judged is None:
        return None
    fit, evidence = judged.fit, judged.evidence
    if not h.scene.calibrated:
        lands = lands_share(eye, to_plane_px, model, holes_mm, ratio, fit)
        evidence = replace(evidence, lands=lands)

    def to_px(xy):
        return to_plane_px(fit.placement(xy))

    agree = pads_by_edges(eye, to_px, model, holes_mm, ratio, fit)
    evidence = replace(evidence, chance=chance())
    floor = 2 * SETTLED_FLOOR_MM**2
    placement = fit.placement if h.scene.calibrated else h.placement
    return Refined(
        h, placement, to_px, agree, evidence,
        "affine" if h.scene.calibrated else "projective",
        lambda xy: fit.variance_at(xy) + floor, ratio, fit.scatter_mm, model, eye, "copper",
        covariance=(lambda: fit.covariance) if h.scene.calibrated else None,
    )


def pads_by_edges(eye: Eye, to_px, model: EdgeModel, holes_mm, ratio: float, fit: EdgeFit | PoseEdges) -> np.ndarray:
    """(N,) bool: half of the edges round the hole are where they should be."""
    got = read_edges(eye.grey, to_px, fit.as_etched(model), 0.2, noise=eye.noise, px_per_unit=ratio)
    good = got.clear & (np.abs(got.off) < AGREE_MM) & (np.sign(got.step) == fit.polarity)
    good &= visible(eye, lambda xy: xy, model, to_px)
    return _of_most_edges(good, model.xy, holes_mm, False)


def lands_share(eye: Eye, to_px, model: EdgeModel, holes_mm, ratio: float, fit: EdgeFit) -> float:
    """Of the lands with edges of their own in view, those of which half belong to stretches that
    are seen: where a picture is poor single edges are not clear. 1 where there are no such lands."""
    part = model.only(visible(eye, to_px, model, fit.placement))
    if not len(part):
        return 1.0
    groups = Stretches.of(part)
    seen = stretches_seen(eye, to_px, part, fit, ratio)[groups.cell]
    lands = _of_most_edges(seen, part.xy, holes_mm, np.nan)
    return float(np.nanmean(lands)) if np.isfinite(lands).any() else 1.0


def _of_most_edges(good: np.ndarray, edges_mm: np.ndarray, holes_mm, none) -> np.ndarray:
    """(N,) whether more than half of the edges near each hole are good; none: of holes with
    hardly any edges near them."""
    pairs = cKDTree(holes_mm).sparse_distance_matrix(
        cKDTree(edges_mm), PAD_NEAR_MM, output_type="ndarray"
    )
    count = np.bincount(pairs["i"], minlength=len(holes_mm))
    right = np.bincount(pairs["i"], good[pairs["j"]], len(holes_mm))
    return np.where(count >= LEAST_EDGES, right > 0.5 * count, none)


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
    floor = systematic_mm2(got.scatter_mm)
    return Refined(
        h, h.placement, got.pose, agree, evidence, "projective",
        lambda xy: got.pose.variance_px2(xy) / ratio**2 + floor, ratio, got.scatter_mm, model, eye, "copper",
    )  # fmt: skip


def oblique_chance(eye: Eye, pose: Pose, model: EdgeModel, ratio: float, seed: int = 0) -> float:
    """As `chance.chance_of`: the copper laid beside where it is."""
    rng = np.random.default_rng(seed)
    shares = []
    for angle, length in zip(rng.uniform(0, 2 * np.pi, 6), rng.uniform(1.6, 6.0, 6), strict=True):
        beside = EdgeModel(model.xy + length * np.array([np.cos(angle), np.sin(angle)]), model.normal)
        got = fit_pose_by_edges(eye, pose, beside, ratio, reaches=(0.3, 0.3))
        shares.append(0.05 if got is None else got.share)
    return float(np.clip(np.mean(shares) + 1.5 * np.std(shares), 0.05, 0.95))
