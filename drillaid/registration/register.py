"""Where does the board lie? One photograph and a design in, a position or a refusal out."""

from __future__ import annotations

import time
from dataclasses import dataclass

from drillaid.design.model import Design
from drillaid.errors import UsageError
from drillaid.registration.answer import placement_of
from drillaid.registration.evidence import told_apart
from drillaid.registration.hypotheses import (
    Hypothesis,
    Scene,
    hypotheses,
    same_place,
    scene_with_rig,
    scenes_without_rig,
    twins,
)
from drillaid.registration.probing import Eye
from drillaid.registration.refining import Refined, refine
from drillaid.registration.result import AMBIGUOUS, MIRRORED, NOT_FOUND, REGISTERED, Registration
from drillaid.registration.words import found_sentence, refusal_sentence
from drillaid.rig.rig import Rig
from drillaid.vision.channel import Grey, grey_of
from drillaid.vision.plane import RigPlane

CLOSER_LOOKS = 8  # hypotheses of each face that are measured in the photograph
FEWEST_HOLES = 6


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
    found = _search(eye, scenes, design.xy_mm, mirrored, clock)
    return _verdict(eye, found, scenes, design, rig, mirrored, thickness_mm, grey, clock)


def _scenes(image, rig: Rig | None, thickness_mm: float):
    """Scenes, one by one: the next is only made where the one before gave nothing."""
    if rig is not None:
        return [scene_with_rig(image, RigPlane(rig, thickness_mm))]
    return scenes_without_rig(image)


def _search(eye, scenes: list[Scene], holes, mirrored: bool, clock: _Clock) -> list[Refined]:
    """All refined placements on both faces, best first."""
    for thorough in (False, True):
        found: list[Refined] = []
        for scene in scenes[:1] if thorough else scenes:
            for side in (mirrored, not mirrored):
                start = time.perf_counter()
                trials = hypotheses(scene, holes, mirrored=side, thorough=thorough)
                clock.match += time.perf_counter() - start
                found += _refined(eye, trials[:CLOSER_LOOKS], holes, clock)
            if any(r.evidence.convincing for r in found):
                break
        found.sort(key=lambda r: -r.support)
        if any(r.evidence.convincing for r in found):
            break
    return found


def _refined(eye, trials: list[Hypothesis], holes, clock: _Clock) -> list[Refined]:
    start = time.perf_counter()
    best = trials[0].grown.count if trials else 0
    done = [refine(eye, h, holes) for h in trials if h.grown.count >= 0.5 * best]
    clock.fit += time.perf_counter() - start
    return [r for r in done if r is not None]


def _rivals(eye, best: Refined, found: list[Refined], holes) -> list[Refined]:
    """Different placements on the same face, judged as the best one is."""
    unit = best.hypothesis.grown.unit_per_mm
    others = [r.hypothesis for r in found if r.hypothesis.scene is best.hypothesis.scene]
    others += twins(best.hypothesis, holes)
    rivals = []
    within = best.evidence.within_mm
    for h in others:
        if h.mirrored != best.hypothesis.mirrored:
            continue
        if same_place(h.placement, best.placement, holes, unit):
            continue
        rival = refine(eye, h, holes, shapes=best.shapes, rounds=2, tolerances=(within,))
        if rival and not same_place(rival.placement, best.placement, holes, unit):
            rivals.append(rival)
    return rivals


def _verdict(eye, found, scenes, design, rig, mirrored, thickness_mm, grey: Grey, clock):
    holes = design.xy_mm
    seen = max((len(s.xy) for s in scenes), default=0)
    total = len(holes)

    def refusal(status: str, best: Refined | None, **more) -> Registration:
        message = refusal_sentence(status, best, design, grey=grey, sightings=seen, **more)
        agreeing = best.evidence.agreeing if best else 0
        return Registration(status, message, None, seen, agreeing, total, clock.as_dict())

    convincing = [r for r in found if r.evidence.convincing]
    if not convincing:
        return refusal(NOT_FOUND, found[0] if found else None)
    best = convincing[0]
    if best.hypothesis.mirrored != mirrored:
        return refusal(MIRRORED, best)
    start = time.perf_counter()
    for rival in _rivals(eye, best, found, holes):
        if not told_apart(best.evidence, rival.evidence):
            clock.fit += time.perf_counter() - start
            return refusal(AMBIGUOUS, best, rival=rival)
    clock.fit += time.perf_counter() - start
    placement = placement_of(best, design, rig, thickness_mm)
    message = found_sentence(best, placement, design)
    return Registration(
        REGISTERED, message, placement, seen, best.evidence.agreeing, total, clock.as_dict()
    )

