"""Where the board lies under a camera nobody has calibrated: all scales and both faces at once.

The plane is guessed from the directions of edges (`directions`); on it the pattern is
correlated with the picture at every scale that would fit (`correlation`), and what stands
out is bent onto the picture piece by piece (`patches`), because the guess is only about right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.geometry import Affine, Homography
from drillaid.registration.correlation import all_rotations
from drillaid.registration.growing import Grown
from drillaid.registration.hypotheses import Hypothesis, Scene
from drillaid.registration.patches import bent_onto
from drillaid.registration.peaks import Peak
from drillaid.vision.contours import EdgeModel

BENT = 3  # of the highest peaks that are bent onto the picture
# Among tracks, letters and small pads the rims of 20 holes were the 2nd to 40th highest on
# photographs: at a second look so many are bent.
MORE_BENT = 24
HIGH = 0.6  # of the highest, below which no other is


@dataclass(frozen=True)
class Grid:
    """At what all places are compared.

    px_per_mm: of the design; soft_mm: how far an edge reaches; scale_step: of its logarithm
    sway_deg: beside the directions of edges; directions: how many of those are gone by;
    step_deg: between rotations, where all of them are tried
    shares: of the picture's longer side that the pattern may take up
    """

    px_per_mm: float
    soft_mm: float
    scale_step: float
    sway_deg: tuple[float, ...]
    directions: int
    step_deg: float
    shares: tuple[float, float]

    def rotations_rad(self, scene: Scene, thorough: bool) -> np.ndarray:
        """Of a half turn."""
        if thorough:
            return all_rotations(self.step_deg)
        turns = np.array(scene.directions_rad[: self.directions])[:, None] + [0.0, np.pi / 2]
        return (turns.ravel()[:, None] + np.radians(self.sway_deg)).ravel()


def copper_grid(size_mm: float, thorough: bool) -> Grid:
    """Tracks are long: a pattern of size_mm is told by few pixels. At all rotations a coarser
    look must do."""
    across_px, scale_step = (70.0, 0.055) if thorough else (100.0, 0.04)
    return Grid(
        across_px / size_mm, size_mm / across_px, scale_step, (-2.0, 0.0, 2.0), 1, 4.0, (0.2, 1.15)
    )


def rim_grid(size_mm: float, thorough: bool) -> Grid:
    """Rims are small, and cancel out where they are blurred: finer than copper. The pads tell
    the grain of a bench from the board's edges, which nothing else there does."""
    return Grid(1.5, 0.4, 0.025, (-1.25, 1.25), 5, 2.5, (0.25, 1.15))


@dataclass(frozen=True, eq=False)
class Likely:
    """A peak of the correlation on a plane whose unit is `scale` times a mm."""

    score: float
    scale: float
    peak: Peak


def likely_places(scene: Scene, model: EdgeModel, sides, *, thorough: bool, grid) -> list[Likely]:
    """Where a pattern of edges may lie, best first.

    sides: mirrored or not, those to try; thorough: at all rotations, not only along
    the board's edges; grid: copper_grid, or rim_grid for a pattern of rims
    """
    size_mm = float(np.ptp(model.xy, axis=0).max())
    span = float(max(scene.span))
    if size_mm <= 0.0:
        return []
    fine = grid(size_mm, thorough)
    turns = fine.rotations_rad(scene, thorough)
    low, high = np.log(fine.shares)
    found: list[Likely] = []
    for scale in np.exp(np.arange(low, high, fine.scale_step)) * span / size_mm:
        see = scene.correlator.scaled(scale)
        peaks = see.peaks(
            model, sides=sides, px_per_mm=fine.px_per_mm, rotations_rad=turns, keep=2, each=1,
            soft_mm=fine.soft_mm,
        )  # fmt: skip
        found += [Likely(p.score, scale, p) for p in peaks]
    found.sort(key=lambda likely: -likely.score)
    return [likely for likely in found if likely.score >= HIGH * found[0].score]


def laid_at(
    scene: Scene, model: EdgeModel, holes_mm: np.ndarray, places: list[Likely], *,
    also_unbent: bool = False,
) -> list[Hypothesis]:  # fmt: skip
    """The pattern bent onto the picture at each of the places.

    also_unbent: rims are few, and pieces of a pattern may be bent onto something else
    """
    found = []
    for likely in places:
        see, grow = scene.correlator.scaled(likely.scale), Affine.from_parts(scale=likely.scale)
        start = likely.peak.placement
        bent = bent_onto(see, model, start)
        laid = [] if bent is None else [bent]
        if also_unbent or bent is None:
            laid.append(see.settled(model, start, turn_deg=1.25, shift_mm=0.7).placement)
        found += [_hypothesis(scene, grow @ place, holes_mm, likely.score) for place in laid]
    return found


def _hypothesis(scene: Scene, place: Affine | Homography, holes_mm, score: float) -> Hypothesis:
    jacobian = place.jacobian(holes_mm.mean(axis=0, keepdims=True))[0]
    determinant = float(np.linalg.det(jacobian))
    grown = Grown(place, np.zeros(0, int), float(np.sqrt(abs(determinant))))
    return Hypothesis(scene, grown, determinant < 0, score)
