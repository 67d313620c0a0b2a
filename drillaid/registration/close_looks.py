"""Close looks at the likeliest places: each made exact, and judged by what is seen there."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from drillaid.geometry import Affine
from drillaid.processors import meanwhile
from drillaid.registration.chance import chance_of
from drillaid.registration.copper import (
    FEW,
    FEWEST_COLOURS,
    colours_beside,
    judge,
    sharper_eye,
    some,
    unlike_eye,
)
from drillaid.registration.evidence import LEAST_PADS
from drillaid.registration.hypotheses import Hypothesis
from drillaid.registration.peaks import Peak
from drillaid.registration.reasons import vague
from drillaid.registration.refine_copper import refine_by_copper
from drillaid.registration.refine_rims import refine_by_lands
from drillaid.registration.refined import Refined, better, chain, px_per_mm_of
from drillaid.registration.rims import find_rings, rims
from drillaid.registration.task import Task, beyond_doubt
from drillaid.vision.channel import colours_apart
from drillaid.vision.contours import EdgeModel
from drillaid.vision.eye import Eye

WORTH_A_LOOK = 0.35  # share of the stretches in a quick look, from which a second way is followed
CLOSE_LOOKS = 4  # at rims
RANKED_BY = 60  # holes, in the quick look for rims
ABOUT_MM, ASIDE_MM = 1.0, 0.55  # about holes: where colours are taken, on either side
OTHER_COLOURS = 6  # places that are seen in a mixture of colours of their own


def settled_by(found: list[Refined]) -> bool:
    """Is there one among them that convinces, as a printer could have made it?"""
    return any(r.evidence.convincing and r.plausible for r in found)


def well_known(r: Refined, holes_mm: np.ndarray) -> bool:
    """Does it convince, and is every hole's place known well enough to drill by?"""
    return settled_by([r]) and not vague(r, holes_mm)


@dataclass(frozen=True, eq=False)
class Looks:
    """Looks at known copper about one place seen through a rig.

    model: all its edges; alone: as in Evidence
    """

    task: Task
    hypothesis: Hypothesis
    model: EdgeModel
    alone: bool

    def at_copper(self, start: Affine, *, eye_of=sharper_eye, least: float = 0.0) -> Refined | None:
        """The exact placement from `start`; None where a quick look finds less than the least
        share of the stretches of edge."""
        holes, to_px = self.task.design.xy_mm, self.hypothesis.scene.view.to_px
        few, ratio = some(self.model, FEW), px_per_mm_of(self.hypothesis.scene, start, holes)
        eye = eye_of(self.task.image, to_px, few, start)
        if eye is None:
            return None
        rough = judge(
            eye, to_px, few, start, ratio, 0.4, reaches=(0.5, 0.3), affine=False, telling=False
        )
        if rough is None or rough.share < least:
            return None
        place = rough.fit.placement
        with meanwhile(chance_of, eye, to_px, self.model, place, ratio) as chance:
            got = refine_by_copper(
                eye, self.hypothesis, place, to_px, self.model, holes, ratio, chance
            )
        return None if got is None else replace(got, evidence=replace(got.evidence, alone=self.alone))

    def at_copper_again(self, peak: Peak, first: Refined | None) -> Refined | None:
        """`first` where nothing better is found: as the picture is unlike bare board, and from
        where the pattern lay before it was stretched, which on blotched metal may lead away."""
        best = first
        for start, eye_of in (
            (peak.placement, unlike_eye), (peak.rigid, sharper_eye), (peak.rigid, unlike_eye)
        ):  # fmt: skip
            got = self.at_copper(start, eye_of=eye_of, least=WORTH_A_LOOK)
            if got is not None and well_known(got, self.task.design.xy_mm):
                return got
            best = better(best, got)
        return best


def look_at_rims(task: Task, trials: list[Hypothesis]) -> list[Refined]:
    """The trials about which most holes show a rim, with a rig or without."""
    design, holes = task.design, task.design.xy_mm
    # A seeded draw is enough to rank by.
    few = np.random.default_rng(0).permutation(len(holes))[:RANKED_BY]
    # Within these is mostly copper, beyond them mostly board, whatever the lands are like.
    about = rims(holes, np.full(len(holes), ABOUT_MM))
    quick: list[_Seen] = []
    told_apart = []
    for h in trials:
        ratio = px_per_mm_of(h.scene, h.placement, holes)
        seen = _seen_in(task.eye, task, h, ratio, few)
        if seen is not None:
            quick.append(seen)
            told_apart.append((_apart_at_holes(task, h, about), h, ratio))
    # In the whole picture's best mixture copper may be as bright as the board.
    told_apart.sort(key=lambda row: -row[0])
    for _, h, ratio in told_apart[:OTHER_COLOURS]:
        quick.append(_seen_in(_eye_at_holes(task, h, about), task, h, ratio, few))
    quick.sort(key=lambda seen: -seen.shares)
    done: list[Refined] = []
    met: set[int] = set()
    for seen in quick:
        if seen.shares < 0.8 * quick[0].shares or len(met) == CLOSE_LOOKS:
            break
        if id(seen.hypothesis) in met:
            continue
        met.add(id(seen.hypothesis))
        if any(beyond_doubt(r) for r in done):
            task.aside.append(seen.hypothesis)
            continue
        got = refine_by_lands(
            task.image, seen.hypothesis, seen.eye, holes, design.drill_mm, seen.px_per_mm
        )
        if got is not None:
            done.append(got)
    return done


@dataclass(frozen=True, eq=False)
class _Seen:
    """shares: of rims that show about some holes, all together, at a placement in one eye."""

    shares: float
    hypothesis: Hypothesis
    px_per_mm: float
    eye: Eye


def _seen_in(eye: Eye, task: Task, h: Hypothesis, ratio: float, few: np.ndarray) -> _Seen | None:
    """None where too few of the holes are in view."""
    holes, bits = task.design.xy_mm[few], task.design.drill_mm[few]
    rings = find_rings(eye, chain(h.scene, h.placement), holes, bits, ratio, slack_mm=0.25)
    if rings.in_view.sum() < min(LEAST_PADS, len(few)):
        return None
    return _Seen(float(rings.share[rings.in_view].sum()), h, ratio, eye)


def _apart_at_holes(task: Task, h: Hypothesis, about: EdgeModel) -> float:
    """How far the colours at the holes are from those round about them: far at the right place,
    whatever copper and board look like."""
    at_holes, beyond = colours_beside(
        task.image, lambda px: px, about, chain(h.scene, h.placement), ASIDE_MM
    )
    few = min(len(at_holes), len(beyond)) < FEWEST_COLOURS
    return 0.0 if few else colours_apart(at_holes, beyond)


def _eye_at_holes(task: Task, h: Hypothesis, about: EdgeModel) -> Eye:
    """The mixture of colours that tells the holes' places from what lies round about them."""
    to_px = chain(h.scene, h.placement)
    return sharper_eye(task.image, lambda px: px, about, to_px, aside_mm=ASIDE_MM)
