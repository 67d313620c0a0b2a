"""All placements that could be meant, tried in the order of what they cost and tell."""

from __future__ import annotations

import time
from dataclasses import dataclass
from functools import partial

from drillaid.registration.close_looks import look_at_rims
from drillaid.registration.copper import FEW, copper_edges, some
from drillaid.registration.evidence import MUCH
from drillaid.registration.hypotheses import Hypothesis, Scene, Scenes, hypotheses, pointed_out
from drillaid.registration.laying import (
    BENT,
    MORE_BENT,
    copper_grid,
    laid_at,
    likely_places,
    rim_grid,
)
from drillaid.registration.oblique import fit_pose_by_edges
from drillaid.registration.on_bench import search_on_bench
from drillaid.registration.pose import pose_from
from drillaid.registration.refine_copper import refine_by_oblique_copper
from drillaid.registration.refined import ENOUGH_OTHERS, Refined, px_per_mm_of
from drillaid.registration.rims import lands_at_all_sizes
from drillaid.registration.task import Task, beyond_doubt
from drillaid.registration.through_lens import lands_through_lens, refine_through_lens
from drillaid.vision.contours import EdgeModel

SURELY = 70.0  # of support: 19 of 22 holes agreed at wrong places, too, but had 56


def search(task: Task, scenes: Scenes) -> list[Refined]:
    """All refined placements on both faces, best first."""
    if scenes.calibrated:
        return search_on_bench(task, scenes[0])
    return _search_freely(task, scenes)


def _search_freely(task: Task, scenes: Scenes) -> list[Refined]:
    """The cheap and telling steps first; the next only where the one before convinced nobody.

    Copper is few pixels: on the likeliest plane it is tried at all rotations before another
    plane is tried at the likeliest ones. For rims all rotations are the dearer of the two.
    """
    found: list[Refined] = []
    known = ("bottom" if task.mirrored else "top") in task.design.copper
    first, rest, every = range(1), range(1, len(scenes)), range(len(scenes))
    if task.pads:
        steps = [partial(_by_sightings, task, scenes)]
    elif known:
        steps = [
            partial(_laid, task, scenes, planes, thorough)
            for planes, thorough in ((first, False), (first, True), (rest, False))
        ]
    else:
        steps = [
            partial(_laid, task, scenes, every, False),
            partial(_further_rims, task, scenes),
            partial(_laid, task, scenes, every[:2], True),
            # Grain bunches directions more than a board does; people mostly look from above.
            partial(_laid, task, scenes, every[2:][-1:], True),
            partial(_by_sightings, task, scenes),
        ]
    for number, step in enumerate(steps):
        found += step()
        if _convinced(found, surely=number < len(steps) - 1):
            break
    found = [
        lands_through_lens(task.image, task.design, r)
        if r.by == "rims" and r.evidence.convincing and r.plausible
        else r
        for r in found
    ]
    return sorted(found, key=lambda r: -r.support)


def _by_sightings(task: Task, scenes: Scenes) -> list[Refined]:
    """By round things, which need no plane as exact as the edges do."""
    found: list[Refined] = []
    for way, sides in _ways(task):
        for index in range(len(scenes)):
            for side in sides:
                # Its mirror image is then among the rivals, which costs less.
                if any(beyond_doubt(r) for r in found):
                    break
                found += _try(task, scenes[index], side, way)
            if _convinced(found):
                return found
    return found


def _convinced(found: list[Refined], surely: bool = False) -> bool:
    """surely: by rims most of the holes show one, so that no better place need be looked for"""
    return any(
        r.evidence.convincing and r.plausible and (not surely or _surely(r)) for r in found
    )


def _surely(r: Refined) -> bool:
    most = r.evidence.share >= MUCH and r.support >= SURELY
    return r.by != "rims" or most or r.support >= ENOUGH_OTHERS


def _laid(task: Task, scenes: Scenes, planes: range, thorough: bool) -> list[Refined]:
    """By the correlation of edges, on some of the planes; thorough: at all rotations."""
    copper = task.design.copper
    asked, other = ("bottom", "top") if task.mirrored else ("top", "bottom")
    both = (task.mirrored, not task.mirrored)
    found: list[Refined] = []
    for index in planes:
        for face, sides in ((asked, both), (other, both[1:])):
            if face in copper:
                found += _copper_laid(task, scenes[index], face, sides, thorough, found)
        if asked not in copper:
            found += _rims_laid(task, scenes[index], thorough, slice(BENT))
        if any(beyond_doubt(r) for r in found):
            break
    return found


def _copper_laid(
    task: Task, scene: Scene, face: str, sides, thorough: bool, found: list[Refined]
) -> list[Refined]:
    """found: so far; where one of them is beyond doubt the rest is not looked at"""
    edges, holes, done = copper_edges(task.design.copper[face]), task.design.xy_mm, []
    start = time.perf_counter()
    places = likely_places(scene, edges, sides, thorough=thorough, grid=copper_grid)
    trials = laid_at(scene, edges, holes, places[:BENT])
    task.clock.match += time.perf_counter() - start
    start = time.perf_counter()
    for h in trials:
        if any(beyond_doubt(r) for r in found + done):
            break
        got = refine_through_lens(task.image, task.design, face, h, h.mirrored)
        done += [] if got is None else [got]
    task.clock.fit += time.perf_counter() - start
    return done


def _further_rims(task: Task, scenes: Scenes) -> list[Refined]:
    """By rims, the places that come after the likeliest ones: among tracks, letters and small
    pads the rims of few holes are not always the highest."""
    found: list[Refined] = []
    for index in range(len(scenes)):
        found += _rims_laid(task, scenes[index], False, slice(BENT, MORE_BENT))
        if any(beyond_doubt(r) for r in found):
            break
    return found


def _rims_laid(task: Task, scene: Scene, thorough: bool, which: slice) -> list[Refined]:
    design, holes, key = task.design, task.design.xy_mm, ("rims", id(scene), thorough)
    rims = lands_at_all_sizes(holes, design.drill_mm)
    start = time.perf_counter()
    if key not in task.known:
        both = (task.mirrored, not task.mirrored)
        task.known[key] = likely_places(scene, rims, both, thorough=thorough, grid=rim_grid)
    trials = laid_at(scene, rims, holes, task.known[key][which], also_unbent=True)
    task.clock.match += time.perf_counter() - start
    start = time.perf_counter()
    done = look_at_rims(task, trials)
    task.clock.fit += time.perf_counter() - start
    return done


def _ways(task: Task) -> list[tuple[object, tuple[bool, ...]]]:
    """What to look for, and on which sides, in the order in which it is worth trying.

    Known copper tells more than holes: where it is not to be seen, holes that seem
    to be are not believed.
    """
    mirrored, copper = task.mirrored, task.design.copper
    asked, other = ("bottom", "top") if mirrored else ("top", "bottom")
    both = (mirrored, not mirrored)
    ways: list[tuple[object, tuple[bool, ...]]] = []
    if other in copper:
        # The other face's copper can only show if that face is up.
        ways.append((_Copper(copper_edges(copper[other])), (not mirrored,)))
    if asked in copper:
        ways.insert(0, (_Copper(copper_edges(copper[asked])), both))
    else:
        ways.append((_Rims(), both))
    return ways


def _try(task: Task, scene: Scene, side: bool, way) -> list[Refined]:
    start = time.perf_counter()
    key = (id(scene), side)
    holes = task.design.xy_mm
    if task.pads:
        trials = pointed_out(scene, holes, task.pads, mirrored=side)
    elif key in task.known:
        trials = task.known[key]
    else:
        trials = hypotheses(scene, holes, mirrored=side)
        task.known[key] = trials
    task.clock.match += time.perf_counter() - start
    start = time.perf_counter()
    if isinstance(way, _Rims):
        done = look_at_rims(task, trials)
    else:
        done = _by_oblique_edges(task, trials, way)
    task.clock.fit += time.perf_counter() - start
    return done


@dataclass(frozen=True, eq=False)
class _Copper:
    """Edges as the Gerber has them."""

    edges: EdgeModel


class _Rims:
    """Edges of lands nobody has drawn, as the picture shows them."""


def _by_oblique_edges(task: Task, trials: list[Hypothesis], way) -> list[Refined]:
    """The best few of the trials by a quick look at some edges, then by all of them."""
    holes, quick = task.design.xy_mm, []
    few = some(way.edges, FEW)
    for h in trials:
        view = h.scene.view
        ratio = px_per_mm_of(h.scene, h.placement, holes)
        pose = pose_from(view.homography @ h.placement, holes, view.size_px, flip=h.mirrored)
        got = fit_pose_by_edges(task.eye, pose, few, ratio, reaches=(0.8, 0.5, 0.3))
        if got is not None:
            quick.append((got.share, got.pose, h, ratio))
    quick.sort(key=lambda row: -row[0])
    done = [
        refine_by_oblique_copper(task.image, h, pose, way.edges, holes, ratio)
        for _, pose, h, ratio in quick[:2]
    ]
    return [r for r in done if r is not None]
