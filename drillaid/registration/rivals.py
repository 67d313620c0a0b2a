"""The placements a good one must beat: its own twins, and what else the search came upon."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from drillaid.design.model import Design
from drillaid.registration.centre_marks import copper_of, mark_evidence
from drillaid.registration.copper import FEW, MANY, judge, some
from drillaid.registration.evidence import Evidence
from drillaid.registration.hypotheses import Hypothesis, same_place, twins
from drillaid.registration.near_twins import turns_about, twin_moves
from drillaid.registration.refine_rims import refine_by_rings
from drillaid.registration.refined import Refined, chain
from drillaid.registration.stretches import whole_stretches
from drillaid.vision.dots import dots_at

SAME_HOLE_MM = 0.3
APART_MM = 0.8  # nearer than this two placements are one
LIKELY = 0.35  # of the best one's agreement, from which a twin is looked at closely


@dataclass(frozen=True)
class Rival:
    """Another placement, judged by the same eye as the best."""

    evidence: Evidence
    mirrored: bool


def rivals_of(
    best: Refined, others: list[Refined | Hypothesis], design: Design
) -> list[Rival]:
    """All that lie elsewhere; `others` is what the search came upon, best included."""
    holes_mm = design.xy_mm
    unit = best.hypothesis.grown.unit_per_mm
    own = replace(best.hypothesis, grown=replace(best.hypothesis.grown, placement=best.placement))
    if best.by == "copper" and not own.scene.calibrated:
        return _about_the_lens(best, others, design)
    if best.by == "marks":
        rivals = _by_marks(best, others, design)
        known = copper_of(best, design) is not None
        return rivals if known else rivals + _by_pattern(best, holes_mm)
    met = [r.hypothesis if isinstance(r, Refined) else r for r in others]
    trials = [h for h in met if h.scene is own.scene]
    trials += _likely_twins(best, own, design) if own.scene.calibrated else twins(own, holes_mm)
    rivals = []
    for h in trials:
        if same_place(h.placement, best.placement, holes_mm, unit):
            continue
        evidence = _judged(best, h, design, unit)
        if evidence is not None:
            rivals.append(Rival(evidence, h.mirrored != own.mirrored))
    if best.by == "rims":
        rivals += _by_pattern(best, holes_mm)
    return rivals


def _by_marks(best: Refined, others, design: Design) -> list[Rival]:
    """Where the frame of a pour fits as well, and the design's own twins: by the marks there."""
    holes_mm, copper = design.xy_mm, copper_of(best, design)
    frame = (best.edges.xy.min(axis=0) + best.edges.xy.max(axis=0)) / 2
    places = [best.placement @ move for move in twin_moves(holes_mm) + turns_about(frame)]
    places += [r.placement if isinstance(r, Refined) else r.grown.placement for r in others]
    level = best.evidence.level
    _, radius_mm, _ = mark_evidence(best.eye, best.to_px, design, copper, level=level)
    rivals = []
    for place in places:
        if same_place(place, best.placement, holes_mm, 1.0, APART_MM):
            continue
        there = dots_at(best.eye, chain(best.hypothesis.scene, place), holes_mm, radius_mm)
        agreeing = int((there.likeness[there.in_view] >= level).sum())
        evidence = replace(best.evidence, agreeing=agreeing, in_view=int(there.in_view.sum()))
        rivals.append(Rival(evidence, place.mirrored != best.hypothesis.mirrored))
    return rivals


def _about_the_lens(best: Refined, others, design: Design) -> list[Rival]:
    """Without a rig: twins seen through the lens that was fitted, and what else was met."""
    holes_mm, own = design.xy_mm, best.hypothesis.mirrored
    edges = whole_stretches(some(best.edges, MANY), 2 * FEW)
    rivals = []
    for move in twin_moves(holes_mm):
        judged = judge(
            best.eye, best.to_px, edges, move, best.px_per_mm, 0.5, reaches=(0.5, 0.3),
            affine=False, telling=False,
        )  # fmt: skip
        if judged is None or _rms(judged.fit.placement(holes_mm) - holes_mm) < APART_MM:
            continue
        evidence = replace(best.evidence, agreeing=round(judged.share * best.evidence.in_view))
        rivals.append(Rival(evidence, move.determinant < 0))
    at = best.to_px(holes_mm)
    for r in others:
        if isinstance(r, Refined) and _rms(r.to_px(holes_mm) - at) > APART_MM * best.px_per_mm:
            rivals.append(Rival(r.evidence, r.hypothesis.mirrored != own))
    return rivals


def _rms(offsets: np.ndarray) -> float:
    length = np.linalg.norm(np.nan_to_num(offsets, nan=1e9), axis=1)
    return float(np.sqrt(np.mean(length**2)))


def _likely_twins(best: Refined, own: Hypothesis, design: Design) -> list[Hypothesis]:
    """Of the twins those with which the picture's edges agree at all, settled."""
    see, edges = own.scene.correlator, best.edges
    moves = twin_moves(design.xy_mm)
    own_share, *shares = see.agreements(edges, [best.placement, *(best.placement @ m for m in moves)])
    kept = []
    for move, share in zip(moves, shares, strict=True):
        if share >= LIKELY * own_share:
            peak = see.settled(edges, best.placement @ move, turn_deg=0.6, shift_mm=0.5)
            kept.append(Hypothesis(own.scene, replace(own.grown, placement=peak.placement), peak.mirrored))
    return kept


def _by_pattern(best: Refined, holes_mm: np.ndarray) -> list[Rival]:
    """What the pattern of holes alone says of twins, however well their rims were seen.

    A twin agrees at least where it lays a hole on one that agrees with the best: with
    nothing but holes known, no luck in seeing them may tell the two apart.
    """
    tree = cKDTree(holes_mm[best.agree])
    rivals = []
    for move in twin_moves(holes_mm):
        shared = int((tree.query(move(holes_mm))[0] < SAME_HOLE_MM).sum())
        evidence = replace(best.evidence, agreeing=min(shared, best.evidence.agreeing))
        rivals.append(Rival(evidence, move.determinant < 0))
    return rivals


def _judged(best: Refined, h: Hypothesis, design: Design, unit: float) -> Evidence | None:
    holes_mm, level = design.xy_mm, (best.evidence.level,)
    if best.by == "rims":
        # Rims of its own, as the best one had: those of the best would be too exact a
        # demand on a true twin.
        ratio = best.px_per_mm
        rival = refine_by_rings(
            None, h, best.eye, holes_mm, design.drill_mm, ratio, shares=level, cropped=best.cropped
        )
        if rival is None or same_place(rival.placement, best.placement, holes_mm, unit):
            return None
        return rival.evidence
    share = _share_on_bench(best, h, holes_mm)
    if share is None:
        return None
    return replace(best.evidence, agreeing=round(share * best.evidence.in_view))


def _share_on_bench(best: Refined, h: Hypothesis, holes_mm) -> float | None:
    edges = whole_stretches(some(best.edges, MANY), 2 * FEW)
    judged = judge(
        best.eye, h.scene.view.to_px, edges, h.placement, best.px_per_mm, 0.5,
        reaches=(0.5, 0.3), affine=False, telling=False,
    )  # fmt: skip
    if judged is None or same_place(judged.fit.placement, best.placement, holes_mm, 1.0, APART_MM):
        return None
    return judged.share
