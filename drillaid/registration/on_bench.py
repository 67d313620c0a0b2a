"""Where the board lies under a calibrated camera: every placement at true scale, at once.

The correlation of edges (`correlation`) says which few placements deserve a close look;
the edges themselves, one by one, decide.
"""

from __future__ import annotations

import time
from dataclasses import replace

import numpy as np

from drillaid.geometry import Affine
from drillaid.processors import side_by_side
from drillaid.registration.centre_marks import decided_by_marks
from drillaid.registration.close_looks import Looks, look_at_rims, settled_by, well_known
from drillaid.registration.copper import copper_edges
from drillaid.registration.correlation import all_rotations
from drillaid.registration.fit import fit_similarity
from drillaid.registration.growing import Grown
from drillaid.registration.hypotheses import Hypothesis, Scene, same_place
from drillaid.registration.near_twins import own_mirror_image
from drillaid.registration.peaks import Peak, distinct
from drillaid.registration.refine_marks import marks_drawn, marks_seen, refine_by_marks
from drillaid.registration.refined import Refined
from drillaid.registration.rims import lands_at_all_sizes
from drillaid.registration.task import Task, beyond_doubt
from drillaid.vision.contours import EdgeModel

COPPER_GRIDS = ((1.0, 3.0),)  # px per mm and degrees
RIM_GRIDS = ((1.5, 2.0), (3.0, 1.5))  # rims are small things
MARK_GRID, MARK_LOOKS = (3.0, 1.5), 4
COPPER_LOOKS, RIM_LOOKS = 5, 32  # placements that are looked at
RIMS_SETTLED = 24  # of either side; at the first look rims say less than once they are settled
AGAIN = 2  # of the placements that do not convince, or not well enough, are looked at again
CLOSE = 0.6  # of the best one's agreement, below which no other is looked at closely
OUTSTANDING = 0.55  # of the highest peak, below which no other is settled
ALONE_SIGMAS = 17.0  # of a peak with no other OUTSTANDING beside it, which no wrong board shows
# Of known copper. From here on the other side of the board is not looked at, unless the design is much like its
# own mirror image: on 70 benches no side that was not up had more than 19; its own mirror
# images the best place has to beat all the same (`rivals`).
OTHER_SIDE_SIGMAS = 30.0
POINTED_TURN_DEG, POINTED_SHIFT_MM = 4.0, 1.5  # how well a person points


def search_on_bench(task: Task, scene: Scene) -> list[Refined]:
    """All placements that bear a close look, on both faces, best first.

    Known copper tells more than holes: where it is not to be seen, holes that seem to
    be are not believed. The other face's copper can only show if that face is up.
    """
    asked, other = ("bottom", "top") if task.mirrored else ("top", "bottom")
    copper, both = task.design.copper, (task.mirrored, not task.mirrored)
    found: list[Refined] = []
    if asked in copper:
        found += _by_copper(task, scene, copper_edges(copper[asked]), both)
    if other in copper and not settled_by(found):
        found += _by_copper(task, scene, copper_edges(copper[other]), both[1:])
    if asked not in copper and not settled_by(found):
        found += _by_rims_or_marks(task, scene, both)
    return decided_by_marks(sorted(found, key=lambda r: -r.support), task.design)


def _peaks(
    task: Task, scene: Scene, model: EdgeModel, sides, grid, keep: int, *,
    settle: int | None = None, enough: float = np.inf,
) -> tuple[list[Peak], bool]:
    """Settled placements worth a closer look, best first, at most `keep`; and whether there is
    only one, which stands out by far.

    settle: how many a side are settled, None: keep; enough: as for `Correlator.peaks`
    """  # fmt: skip
    settle = settle or keep
    start = time.perf_counter()
    px_per_mm, step_deg = grid
    see, alone = scene.correlator, False
    if task.pads:
        shift, turn = POINTED_SHIFT_MM, POINTED_TURN_DEG
        rough = [Peak(_pointed_out(task, scene, side), 0.0, side) for side in sides]
    else:
        shift, turn = 1.2 / px_per_mm, step_deg / 2 + 0.3
        rough = see.peaks(
            model, sides=sides, px_per_mm=px_per_mm, rotations_rad=all_rotations(step_deg), keep=settle,
            enough=enough,
        )  # fmt: skip
        rough = [p for p in rough if p.score > OUTSTANDING * rough[0].score]
        alone = len(rough) == 1 and rough[0].score >= ALONE_SIGMAS
    settled = side_by_side(
        lambda p: see.settled(model, p.placement, turn_deg=turn, shift_mm=shift), rough[:settle]
    )
    settled.sort(key=lambda p: -p.score)
    task.clock.match += time.perf_counter() - start
    return distinct(settled, model.xy, keep, within_mm=0.3), alone


def _pointed_out(task: Task, scene: Scene, mirrored: bool) -> Affine:
    number = np.array([p[0] for p in task.pads]) - 1
    place = scene.view.to_plane(np.array([p[1:] for p in task.pads], dtype=np.float64))
    return fit_similarity(task.design.xy_mm[number], place, mirrored=mirrored, scaled=False)


def _hypothesis(scene: Scene, peak: Peak) -> Hypothesis:
    return Hypothesis(scene, Grown(peak.placement, np.zeros(0, int), 1.0), peak.mirrored)


def _by_copper(task: Task, scene: Scene, model: EdgeModel, sides) -> list[Refined]:
    done: list[Refined] = []
    enough = np.inf if own_mirror_image(task.design.xy_mm) else OTHER_SIDE_SIGMAS
    for grid in COPPER_GRIDS:
        peaks, alone = _peaks(task, scene, model, sides, grid, COPPER_LOOKS, enough=enough)
        task.focus.begin()  # close looks leave room for it on another processor
        start = time.perf_counter()
        for rank, peak in enumerate(peaks):
            if peak.score < CLOSE * peaks[0].score:
                break
            if any(beyond_doubt(r) for r in done):
                task.aside.append(_hypothesis(scene, peak))
                continue
            looks = Looks(task, _hypothesis(scene, peak), model, alone)
            exact = looks.at_copper(peak.placement)
            known = done if exact is None else [*done, exact]
            if rank < AGAIN and not any(well_known(r, task.design.xy_mm) for r in known):
                exact = looks.at_copper_again(peak, exact)
            if exact is not None:
                done.append(exact)
        task.clock.fit += time.perf_counter() - start
        if settled_by(done) or task.pads:
            break
    return done


def _by_rims_or_marks(task: Task, scene: Scene, sides) -> list[Refined]:
    """Where only the holes are known: by marks where rims do not show the place well enough,
    unless rims convince elsewhere."""
    holes = task.design.xy_mm
    by_rims = _by_rims(task, scene, sides)
    if any(well_known(r, holes) for r in by_rims):
        return by_rims
    by_marks = _by_marks(task, scene, sides)
    exact = next((r for r in by_marks if well_known(r, holes)), None)
    if exact is None:
        return by_rims + by_marks
    rough = [r for r in by_rims if settled_by([r])]
    if all(same_place(r.placement, exact.placement, holes, 1.0) for r in rough):
        task.aside.extend(r.hypothesis for r in by_rims)
        return by_marks
    return by_rims


def _by_rims(task: Task, scene: Scene, sides) -> list[Refined]:
    model = lands_at_all_sizes(task.design.xy_mm, task.design.drill_mm)
    done: list[Refined] = []
    for grid in RIM_GRIDS:
        peaks, _ = _peaks(task, scene, model, sides, grid, RIM_LOOKS, settle=RIMS_SETTLED)
        start = time.perf_counter()
        done += look_at_rims(task, [_hypothesis(scene, peak) for peak in peaks])
        task.clock.fit += time.perf_counter() - start
        if settled_by(done) or task.pads:
            break
    return done


def _by_marks(task: Task, scene: Scene, sides) -> list[Refined]:
    """By etched centre marks, where only the holes are known and no rims are to be seen."""
    sighted = replace(scene, correlator=marks_seen(task.image, scene.view))
    peaks, _ = _peaks(task, sighted, marks_drawn(task.design.xy_mm), sides, MARK_GRID, MARK_LOOKS)
    start = time.perf_counter()
    looks = [refine_by_marks(task, _hypothesis(scene, peak)) for peak in peaks]
    task.clock.fit += time.perf_counter() - start
    return [r for r in looks if r is not None]
