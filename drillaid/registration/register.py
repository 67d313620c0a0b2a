"""Where does the board lie? One photograph and a design in, a position or a refusal out."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np

from drillaid.design.model import Design
from drillaid.errors import UsageError
from drillaid.registration.answer import placement_of
from drillaid.registration.copper import FEW, chance_of, copper_edges, judge, sharper_eye, some
from drillaid.registration.evidence import Evidence, told_apart
from drillaid.registration.hypotheses import (
    Hypothesis,
    Scene,
    borne_out,
    hypotheses,
    pointed_out,
    same_place,
    scene_with_rig,
    scenes_without_rig,
    twins,
)
from drillaid.registration.oblique import fit_pose_by_edges
from drillaid.registration.pose import pose_from
from drillaid.registration.probing import Eye
from drillaid.registration.refining import (
    Refined,
    px_per_mm_of,
    refine,
    refine_by_copper,
    refine_by_oblique_copper,
)
from drillaid.registration.rims import rim_radii, rims
from drillaid.registration.result import AMBIGUOUS, MIRRORED, NOT_FOUND, REGISTERED, Registration
from drillaid.registration.words import found_sentence, refusal_sentence
from drillaid.rig.rig import Rig
from drillaid.vision.channel import Grey, grey_of
from drillaid.vision.contours import EdgeModel
from drillaid.vision.plane import RigPlane

CLOSER_LOOKS = 8  # hypotheses of each face that are measured in the photograph
FEWEST_HOLES = 6
POINTED_MM = 1.5  # how well a person points


@dataclass
class _Clock:
    """Seconds spent by stage."""

    find: float = 0.0
    match: float = 0.0
    fit: float = 0.0
    started: float = 0.0

    def as_dict(self) -> dict[str, float]:
        total = time.perf_counter() - self.started
        return {"find": self.find, "match": self.match, "fit": self.fit, "total": total}


def register_picture(
    image: np.ndarray,
    design: Design,
    *,
    rig: Rig | None = None,
    face: str = "bottom",
    thickness_mm: float = 1.6,
    pads: tuple[tuple[int, float, float], ...] = (),
) -> Registration:
    """Where the design lies in one photograph.

    image: uint8 BGR (H, W, 3); face: of the design, which looks at the camera
    rig: None finds the board under unknown tilt and scale as well
    pads: (hole number, u, v) pointed out by a person, none or at least two
    """
    if face not in ("bottom", "top"):
        raise UsageError(f"the face is '{face}'", remedy="give bottom or top")
    if len(design.holes) < FEWEST_HOLES:
        raise UsageError(
            f"the design has {len(design.holes)} holes",
            remedy=f"a board can be told by its pads from {FEWEST_HOLES} holes on",
        )
    clock = _Clock(started=time.perf_counter())
    grey = grey_of(image)
    eye = Eye(grey.image, grey.noise)
    scenes = _scenes(image, rig, thickness_mm)
    clock.find = time.perf_counter() - clock.started
    mirrored = face == "bottom"
    found = _search(image, eye, scenes, design, mirrored, pads, clock)
    if pads:
        # What a person points out need not be asked again, but it must be borne out.
        found = [
            r for r in found if borne_out(r.to_px, design.xy_mm, pads, POINTED_MM * r.px_per_mm)
        ]
    return _verdict(eye, found, scenes, design, rig, mirrored, thickness_mm, grey, clock, bool(pads))


def _scenes(image, rig: Rig | None, thickness_mm: float):
    """Scenes, one by one: the next is only made where the one before gave nothing."""
    if rig is not None:
        return [scene_with_rig(image, RigPlane(rig, thickness_mm))]
    return scenes_without_rig(image)


def _search(
    image, eye, scenes: list[Scene], design: Design, mirrored: bool, pads, clock: _Clock
) -> list[Refined]:
    """All refined placements on both faces, best first.

    The cheap and telling ways first: by copper where it is known, along the board's
    edges before all rotations; the next only where the one before convinced nobody.
    """
    asked, other = ("bottom", "top") if mirrored else ("top", "bottom")
    both = (mirrored, not mirrored)
    ways: list[tuple[object, tuple[bool, ...]]] = []
    if asked in design.copper:
        ways.append((_Copper(copper_edges(design.copper[asked])), both))
    if other in design.copper:
        # The other face's copper can only show if that face is up.
        ways.append((_Copper(copper_edges(design.copper[other])), (not mirrored,)))
    ways += [(_Rims(), both), (None, both)]
    found: list[Refined] = []
    for way, sides in ways:
        for thorough in (False,) if pads else (False, True):
            for scene in scenes[:1] if thorough else scenes:
                if isinstance(way, _Rims) and not scene.calibrated:
                    continue
                for side in sides:
                    found += _try(image, eye, scene, design, side, way, thorough, pads, clock)
                if any(r.evidence.convincing for r in found):
                    return sorted(found, key=lambda r: -r.support)
    return sorted(found, key=lambda r: -r.support)


def _try(
    image, eye, scene, design, side: bool, way, thorough: bool, pads, clock: _Clock
) -> list[Refined]:
    holes = design.xy_mm
    start = time.perf_counter()
    raw = 10 if way is not None and scene.calibrated else 0
    if pads:
        trials = pointed_out(scene, holes, pads, mirrored=side)
    else:
        trials = hypotheses(scene, holes, mirrored=side, thorough=thorough, raw=raw, keep=8 + raw)
    clock.match += time.perf_counter() - start
    start = time.perf_counter()
    if way is None:
        done = _by_pads(eye, trials[:CLOSER_LOOKS], holes)
    else:
        by = _by_edges if scene.calibrated else _by_oblique_edges
        done = by(image, eye, trials, design, way)
    clock.fit += time.perf_counter() - start
    return done


@dataclass(frozen=True, eq=False)
class _Copper:
    """Edges as the Gerber has them."""

    edges: EdgeModel

    def model(self, eye, to_px, placement, design, ratio, before=None) -> EdgeModel:
        return self.edges


@dataclass(frozen=True, eq=False)
class _Rims:
    """Edges of lands, of sizes seen in the picture."""

    def model(self, eye, to_px, placement, design, ratio, before=None) -> EdgeModel:
        radius = rim_radii(eye, to_px, placement, design.xy_mm, design.drill_mm, ratio)
        return rims(design.xy_mm, radius)


def _by_pads(eye, trials: list[Hypothesis], holes) -> list[Refined]:
    best = max((h.grown.count for h in trials), default=0)
    done = [refine(eye, h, holes) for h in trials if h.grown.count >= 0.5 * best]
    return [r for r in done if r is not None]


def _by_edges(image, eye, trials: list[Hypothesis], design: Design, way) -> list[Refined]:
    """The best few of the trials by a quick look at some edges, then by all of them."""
    holes = design.xy_mm
    quick = []
    for h in trials:
        ratio = px_per_mm_of(h.scene, h.placement, holes)
        to_px = h.scene.view.to_px
        few = some(way.model(eye, to_px, h.placement, design, ratio), FEW)
        judged = judge(eye, to_px, few, h.placement, ratio, 0.4, affine=False)
        if judged is not None:
            quick.append((judged.evidence.support(0.8), judged, h, ratio, few))
    quick.sort(key=lambda row: -row[0])
    done = []
    for _, judged, h, ratio, few in quick[:3]:
        to_px, place = h.scene.view.to_px, judged.fit.placement
        sharper = sharper_eye(image, to_px, few, place)
        model = way.model(sharper, to_px, place, design, ratio)
        chance = chance_of(sharper, to_px, model, place, ratio)
        exact = refine_by_copper(sharper, h, place, to_px, model, holes, ratio, chance)
        if exact is not None:
            done.append(exact)
    return done


def _by_oblique_edges(image, eye, trials: list[Hypothesis], design: Design, way) -> list[Refined]:
    """The same without a rig."""
    holes, quick = design.xy_mm, []
    few = some(way.edges, FEW)
    for h in trials:
        view = h.scene.view
        ratio = px_per_mm_of(h.scene, h.placement, holes)
        pose = pose_from(view.homography @ h.placement, holes, view.size_px, flip=h.mirrored)
        got = fit_pose_by_edges(eye, pose, few, ratio, reaches=(0.8, 0.5, 0.3))
        if got is not None:
            quick.append((got.share, got.pose, h, ratio))
    quick.sort(key=lambda row: -row[0])
    done = [
        refine_by_oblique_copper(image, h, pose, way.edges, holes, ratio)
        for _, pose, h, ratio in quick[:2]
    ]
    return [r for r in done if r is not None]


def _rivals(eye, best: Refined, found: list[Refined], design: Design) -> list[Evidence]:
    """Different placements on the same face, judged as the best one is."""
    holes = design.xy_mm
    unit = best.hypothesis.grown.unit_per_mm
    others = [r.hypothesis for r in found if r.hypothesis.scene is best.hypothesis.scene]
    others += twins(replace(best.hypothesis, grown=replace(best.hypothesis.grown, placement=best.placement)), holes)
    others = [
        h
        for h in others
        if h.mirrored == best.hypothesis.mirrored
        and not same_place(h.placement, best.placement, holes, unit)
    ]
    rivals = []
    for h in others:
        if best.edges is not None:
            if not h.scene.calibrated:
                rivals += _oblique_rival(best, h, holes)
                continue
            model, chance = some(best.edges, FEW), best.evidence.chance
            judged = judge(best.eye, h.scene.view.to_px, model, h.placement, best.px_per_mm, chance, affine=False)
            if judged and not same_place(judged.fit.placement, best.placement, holes, unit):
                scaled = Evidence(
                    round(judged.fit.share * best.evidence.in_view), best.evidence.in_view, chance
                )
                rivals.append(scaled)
            continue
        rival = refine(eye, h, holes, shapes=best.shapes, rounds=2, tolerances=(best.evidence.within_mm,))
        if rival and not same_place(rival.placement, best.placement, holes, unit):
            rivals.append(rival.evidence)
    return rivals


def _oblique_rival(best: Refined, h: Hypothesis, holes) -> list[Evidence]:
    view = h.scene.view
    pose = pose_from(view.homography @ h.placement, holes, view.size_px, flip=h.mirrored)
    got = fit_pose_by_edges(best.eye, pose, some(best.edges, FEW), best.px_per_mm, reaches=(0.5, 0.3, 0.2))
    if got is None:
        return []
    apart_mm = np.linalg.norm(got.pose(holes) - best.to_px(holes), axis=1) / best.px_per_mm
    if np.sqrt(np.mean(apart_mm**2)) < 0.8:
        return []
    return [replace(best.evidence, agreeing=round(got.share * best.evidence.in_view))]


def _verdict(eye, found, scenes, design, rig, mirrored, thickness_mm, grey: Grey, clock, settled: bool):
    seen = max((len(s.xy) for s in scenes), default=0)
    total = len(design.holes)

    def refusal(status: str, best: Refined | None, **more) -> Registration:
        message = refusal_sentence(status, best, design, grey=grey, sightings=seen, **more)
        agreeing = int(best.agree.sum()) if best else 0
        return Registration(status, message, None, seen, agreeing, total, clock.as_dict())

    convincing = [r for r in found if r.evidence.convincing]
    if not convincing:
        return refusal(NOT_FOUND, found[0] if found else None)
    best = convincing[0]
    if best.hypothesis.mirrored != mirrored:
        return refusal(MIRRORED, best)
    start = time.perf_counter()
    for rival in [] if settled else _rivals(eye, best, found, design):
        if not told_apart(best.evidence, rival):
            clock.fit += time.perf_counter() - start
            return refusal(AMBIGUOUS, best, rival=rival)
    clock.fit += time.perf_counter() - start
    placement = placement_of(best, design, rig, thickness_mm)
    message = found_sentence(best, placement, design)
    return Registration(
        REGISTERED, message, placement, seen, int(best.agree.sum()), total, clock.as_dict()
    )

