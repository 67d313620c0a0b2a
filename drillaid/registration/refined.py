"""A placement with all that was measured for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from drillaid.geometry import Affine, Homography
from drillaid.registration.evidence import Evidence
from drillaid.registration.growing import plausible
from drillaid.registration.hypotheses import Hypothesis
from drillaid.registration.pose import Pose
from drillaid.vision.contours import EdgeModel
from drillaid.vision.eye import Eye

# Beyond this a fit follows wrong pads rather than a stretched print.
SCALE, SKEW, SHEAR = (0.97, 1.03), 0.022, 0.009
# By rims and without a rig, of the holes: where more show nothing at all, a row of other things
# was taken for the board (on a photograph 17 of 22 agreed, 8 mm aside, and 5 were empty; at
# their places 0 to 2 of 22 are). Of a blotched board half may be; with so much support the
# others are enough (wrong places had 54).
MOST_EMPTY, ENOUGH_OTHERS = 0.1, 120.0
# What remains between the edges' mean and the truth whatever their number, one sigma of an
# axis: blur that is not even, sampling, etching that is not the same on both sides. It
# grows with what scatters the edges (set on simulated benches; bench_registration.py
# holds the stated error against the real one).
FLOOR_MM, SCATTER_SHARE = 0.002, 0.12
# Where the fit was settled, and its doubt measured by all that could mislead it, less remains.
SETTLED_FLOOR_MM = 0.0011


def systematic_mm2(scatter_mm: float) -> float:
    """Variance that no number of edges removes, both axes together."""
    return 2 * (FLOOR_MM**2 + (SCATTER_SHARE * scatter_mm) ** 2)


@dataclass(frozen=True, eq=False)
class Refined:
    """A placement with all that was measured for it.

    placement: design mm -> plane; to_px: design mm (N, 2) -> pixels as photographed
    agree: (N,) holes whose pad was seen where it should be
    variance_mm2: design mm (N, 2) -> (N,), of the stated place, both axes together
    model: as in the contract
    edges, eye: what copper was looked for, and in which mixture of colours
    by: "copper", "rims", or "marks": copper that the etched centre marks decided about
    covariance: (6, 6) of the placement's matrix rows, where copper placed it on a bench
    """

    hypothesis: Hypothesis
    placement: Affine | Homography
    to_px: Callable[[np.ndarray], np.ndarray]
    agree: np.ndarray
    evidence: Evidence
    model: str
    variance_mm2: Callable[[np.ndarray], np.ndarray]
    px_per_mm: float
    residual_rms_mm: float
    edges: EdgeModel
    eye: Eye
    by: str
    covariance: Callable[[], np.ndarray] | None = None

    @property
    def plausible(self) -> bool:
        """Could a printer and an etching bath have made this, and would the board look so?"""
        if self.by == "rims" and not self.hypothesis.scene.calibrated:
            few = self.evidence.empty <= MOST_EMPTY * self.evidence.in_view
            return bool(few or self.support >= ENOUGH_OTHERS)
        if not isinstance(self.placement, Affine) or not self.hypothesis.scene.calibrated:
            return True
        return plausible(self.placement, scale_within=SCALE, skew=SKEW, shear=SHEAR)

    @property
    def cropped(self) -> bool:
        """Was the camera's middle fitted? Asked where nobody knows the camera."""
        return isinstance(self.to_px, Pose) and self.to_px.cropped

    @property
    def support(self) -> float:
        return self.evidence.support()


def better(a: Refined | None, b: Refined | None) -> Refined | None:
    """What agrees better of the two."""
    if a is None or b is None:
        return a or b
    return b if b.support > a.support else a


def px_per_mm_of(scene, placement, holes_mm) -> float:
    """Pixels of the photograph per design mm at the middle of the holes, mean over directions."""
    middle = holes_mm.mean(axis=0)
    near = middle + np.array([[0.0, 0.0], [0.5, 0.0], [0.0, 0.5]])
    px = scene.view.to_px(placement(near))
    step = (px[1:] - px[0]) / 0.5
    return float(np.sqrt(abs(np.linalg.det(step))))


def chain(scene, placement, fit=None):
    """Design mm -> pixels as photographed; a fitted pose brings its own lens."""
    if isinstance(fit, Pose):
        return fit
    return lambda xy: scene.view.to_px(placement(xy))
