"""Close looks at the likeliest places: each made exact, and judged by what is seen there."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from drillaid.geometry import Affine
from drillaid.processors import meanwhile
from drillaid.registration.chance import chance_of
from drillaid.registration.copper import FEW, judge, sharper_eye, some, unlike_eye
from drillaid.registration.evidence import LEAST_PADS
from drillaid.registration.hypotheses import Hypothesis
from drillaid.registration.peaks import Peak
from drillaid.registration.reasons import vague
from drillaid.registration.refine_copper import refine_by_copper
from drillaid.registration.refine_rims import refine_by_lands
from drillaid.registration.refined import Refined, better, chain, px_per_mm_of
from drillaid.registration.rims import find_rings, rims
from drillaid.registration.task import Task, beyond_doubt
from drillaid.vision.contours import EdgeModel
from drillaid.vision.eye import Eye

WORTH_A_LOOK = 0.35  # share of the stretches in a quick look, from which a second way is followed
CLOSE_LOOKS = 4  # at rims
RANKED_BY = 60  # holes, in the quick look for rims
ABOUT_MM, ASIDE_MM = 1.0, 0.55  # about holes: within is mostly copper, beyond mostly board


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
    quick = []
    for h in trials:
        ratio = px_per_mm_of(h.scene, h.placement, holes)
        to_px = chain(h.scene, h.placement)
        for eye in (task.eye, _eye_at_holes(task, to_px)):
            rings = find_rings(eye, to_px, holes[few], design.drill_mm[few], ratio, slack_mm=0.25)
            seen = rings.in_view
            if seen.sum() >= min(LEAST_PADS, len(few)):
                quick.append((float(rings.share[seen].sum()), h, ratio, eye))
    quick.sort(key=lambda row: -row[0])
    done: list[Refined] = []
    met: set[int] = set()
    for rank, h, ratio, eye in quick:
        if rank < 0.8 * quick[0][0] or len(met) == CLOSE_LOOKS:
            break
        if id(h) in met:
            continue
        met.add(id(h))
        if any(beyond_doubt(r) for r in done):
            task.aside.append(h)
            continue
        got = refine_by_lands(task.image, h, eye, holes, design.drill_mm, ratio)
        if got is not None:
            done.append(got)
    return done


def _eye_at_holes(task: Task, to_px) -> Eye:
    """The mixture of colours that tells the holes' places from what lies round about them: in
    the whole picture's best one copper may be as bright as the board."""
    about = rims(task.design.xy_mm, np.full(len(task.design.xy_mm), ABOUT_MM))
    return sharper_eye(task.image, lambda px: px, about, to_px, aside_mm=ASIDE_MM)
