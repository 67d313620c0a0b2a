"""Where does the board lie? One photograph and a design in, a position or a refusal out."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from drillaid.design.model import Design
from drillaid.errors import UsageError
from drillaid.registration.answer import placement_of
from drillaid.registration.evidence import Evidence, told_apart
from drillaid.registration.hypotheses import (
    Scenes,
    borne_out,
    scenes_with_rig,
    scenes_without_rig,
)
from drillaid.registration.lands_seen import LandsSeen, lands_seen
from drillaid.registration.plain_view import in_plain_view
from drillaid.registration.reasons import focus_in, out_of_size, smeared, vague, why_not_found
from drillaid.registration.refined import Refined
from drillaid.registration.result import (
    AMBIGUOUS,
    FITS_TWICE,
    MIRRORED,
    NOT_FOUND,
    REGISTERED,
    WRONG_WAY,
    Registration,
)
from drillaid.registration.rivals import rivals_of
from drillaid.registration.search import search
from drillaid.registration.task import Clock, Later, Task
from drillaid.registration.words import found_sentence, refusal_sentence
from drillaid.rig.rig import Rig
from drillaid.vision.eye import inside
from drillaid.vision.fringes import Fringes, fringes_of
from drillaid.vision.plane import RigPlane

FEWEST_HOLES = 6
POINTED_MM = 1.5  # how well a person points


def register_picture(
    image,
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
    clock = Clock(time.perf_counter())
    # One after the other on another processor: the colours laid over each other, which is
    # needed where edges are measured, and whether the picture is sharp, at the end only.
    with ThreadPoolExecutor(1) as aside:
        ready = aside.submit(_without_fringes, image)
        focus = Later(lambda: aside.submit(lambda: focus_in(ready.result()[1])))
        # A fringe is a fraction of a pixel in the coarse picture that is seen through a rig.
        scenes = _scenes(ready.result()[1] if rig is None else image, rig, thickness_mm)
        scenes[0]
        fringes, image = ready.result()
        clock.find = time.perf_counter() - clock.started
        task = Task(image, design, face == "bottom", tuple(pads), clock, fringes, focus)
        return _registered(task, scenes, rig, thickness_mm)


def _without_fringes(image) -> tuple[Fringes, np.ndarray]:
    fringes = fringes_of(image)
    return fringes, fringes.removed(image)


def _registered(task: Task, scenes: Scenes, rig: Rig | None, thickness_mm: float) -> Registration:
    pads = task.pads
    found = search(task, scenes)
    if pads:
        # What a person points out need not be asked again, but it must be borne out.
        found = [
            r for r in found if borne_out(r.to_px, task.design.xy_mm, pads, POINTED_MM * r.px_per_mm)
        ]
    return _verdict(task, found, scenes, rig, thickness_mm)


def _scenes(image, rig: Rig | None, thickness_mm: float) -> Scenes:
    if rig is not None:
        return scenes_with_rig(image, RigPlane(rig, thickness_mm))
    return scenes_without_rig(image)


def _verdict(task: Task, found: list[Refined], scenes: Scenes, rig, thickness_mm: float) -> Registration:
    design, clock = task.design, task.clock
    total = len(design.holes)

    def refusal(status: str, best: Refined | None, rival=None) -> Registration:
        why = None
        if status == NOT_FOUND:
            why = why_not_found(task.image, found, design.xy_mm, task.focus.result())
        reason = why.reason if why else {AMBIGUOUS: FITS_TWICE, MIRRORED: WRONG_WAY}[status]
        known = ("bottom" if task.mirrored else "top") in design.copper
        message = refusal_sentence(status, best, why, rival=rival, holes_only=not known)
        agreeing = int(best.agree.sum()) if best else 0
        return Registration(
            status, message, None, _pads_seen(scenes, best, design), agreeing, total, clock.as_dict(), reason=reason
        )

    convincing = [r for r in found if r.evidence.convincing and r.plausible]
    if not convincing:
        return refusal(NOT_FOUND, found[0] if found else None)
    best = convincing[0]
    start = time.perf_counter()
    rivals = [] if task.pads else rivals_of(best, found + task.aside, design)
    clock.fit += time.perf_counter() - start
    close = next((r for r in rivals if not told_apart(best.evidence, r.evidence)), None)
    if best.hypothesis.mirrored != task.mirrored:
        # A pattern that is its own mirror image says nothing of how it was etched.
        own = next((r for r in rivals if r.mirrored and not told_apart(best.evidence, r.evidence)), None)
        return refusal(MIRRORED, best) if own is None else refusal(AMBIGUOUS, best, own.evidence)
    if out_of_size(best) or smeared(task.focus.result()) or vague(best, design.xy_mm):
        return refusal(NOT_FOUND, best)
    ahead = any(r.mirrored and told_apart(r.evidence, best.evidence) for r in rivals)
    if close is not None and not (ahead and best.by == "copper"):
        # By holes alone a mirror-symmetric pattern says nothing of how it was etched.
        return refusal(AMBIGUOUS, best, close.evidence)
    if ahead:
        return refusal(MIRRORED, best)
    lands = lands_seen(best, design)
    if _too_few(lands, best, design):
        return refusal(NOT_FOUND, best)
    placement = placement_of(best, design, rig, thickness_mm, lands, task.fringes)
    message = found_sentence(best, placement, design)
    agreeing, seen = int(placement.pad_seen.sum()), _pads_seen(scenes, best, design)
    return Registration(REGISTERED, message, placement, seen, agreeing, total, clock.as_dict())


def _too_few(lands: LandsSeen, best: Refined, design: Design) -> bool:
    """Are so many lands missed that this is hardly the board? Under a hand none is owed, unless
    little else speaks for the place; of the others fewer may be missed then."""
    doubtful = _only_alone(best.evidence)
    few = lands.too_few(doubtful)
    if doubtful or not few:
        return few
    owed = lands.missing & in_plain_view(best, design.xy_mm)
    return replace(lands, missing=owed).too_few(True)


def _only_alone(evidence: Evidence) -> bool:
    """Does it convince only because no other place is nearly as good?"""
    return not replace(evidence, alone=False).convincing


def _pads_seen(scenes: Scenes, best: Refined | None, design: Design) -> int:
    """With a rig, where nothing is recognised beforehand: the design's pads in view at the
    best place; without one: round things sighted."""
    if not scenes.calibrated:
        return max((len(s.xy) for s in scenes.made.values()), default=0)
    if best is None:
        return 0
    return int(inside(best.eye.size_px, best.to_px(design.xy_mm), 0.0).sum())
