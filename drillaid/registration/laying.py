"""Where the board lies under a camera nobody has calibrated: all scales and both faces at once.

The plane is guessed from the directions of edges (`directions`); on it the pattern is
correlated with the picture at every scale that would fit (`correlation`), and what stands
out is bent onto the picture piece by piece (`patches`), because the guess is only about right.
"""

from __future__ import annotations

import numpy as np

from drillaid.geometry import Affine, Homography
from drillaid.registration.correlation import Peak, all_rotations
from drillaid.registration.growing import Grown
from drillaid.registration.hypotheses import Hypothesis, Scene
from drillaid.registration.patches import bent_onto
from drillaid.vision.contours import EdgeModel

SHARES_OF_VIEW = (0.2, 1.15)  # of the picture's longer side that the pattern may take up
# The pattern's longer side while all places are compared, px; the step of the logarithm of
# scale; degrees. At all rotations a coarser look must do.
ALONG_EDGES, ALL_ROUND = (100.0, 0.04, 3.0), (70.0, 0.055, 4.0)
SWAY_DEG = 2.0  # of the directions of edges
BENT = 3  # of the highest peaks that are bent onto the picture
HIGH = 0.6  # of the highest, below which no other is


def laid_freely(
    scene: Scene, model: EdgeModel, holes_mm: np.ndarray, sides, *, thorough: bool
) -> list[Hypothesis]:
    """The likeliest placements of a pattern of edges, best first.

    sides: mirrored or not, those to try; thorough: at all rotations, not only along
    the board's edges
    """
    size_mm = float(np.ptp(model.xy, axis=0).max())
    span = float(max(scene.span))
    if size_mm <= 0.0:
        return []
    across_px, scale_step, turn_deg = ALL_ROUND if thorough else ALONG_EDGES
    turns = all_rotations(turn_deg) if thorough else _along_edges(scene.direction_rad)
    low, high = np.log(SHARES_OF_VIEW)
    rows: list[tuple[float, float, Peak]] = []
    for scale in np.exp(np.arange(low, high, scale_step)) * span / size_mm:
        see = scene.correlator.scaled(scale)
        peaks = see.peaks(
            model, sides=sides, px_per_mm=across_px / size_mm, rotations_rad=turns, keep=2, each=1,
            soft_mm=size_mm / across_px,
        )  # fmt: skip
        rows += [(p.score, scale, p) for p in peaks]
    rows.sort(key=lambda row: -row[0])
    found = []
    for score, scale, peak in rows[:BENT]:
        if score < HIGH * rows[0][0]:
            break
        bent = bent_onto(scene.correlator.scaled(scale), model, peak.placement)
        if bent is not None:
            found.append(_hypothesis(scene, Affine.from_parts(scale=scale) @ bent, holes_mm, score))
    return found


def _along_edges(direction_rad: float) -> np.ndarray:
    sway = np.radians([-SWAY_DEG, 0.0, SWAY_DEG])
    return (direction_rad + np.arange(4)[:, None] * np.pi / 2 + sway).ravel()


def _hypothesis(scene: Scene, place: Affine | Homography, holes_mm, score: float) -> Hypothesis:
    jacobian = place.jacobian(holes_mm.mean(axis=0, keepdims=True))[0]
    determinant = float(np.linalg.det(jacobian))
    grown = Grown(place, np.zeros(0, int), float(np.sqrt(abs(determinant))))
    return Hypothesis(scene, grown, determinant < 0, score)
