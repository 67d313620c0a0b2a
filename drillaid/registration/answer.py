"""A refined placement put into the words of the contract: holes, errors, matrices."""

from __future__ import annotations

import cv2
import numpy as np

from drillaid.design.model import Design
from drillaid.geometry import Affine, Homography
from drillaid.registration.fit import PlaneFit
from drillaid.registration.refining import Refined, chain
from drillaid.registration.result import Placement
from drillaid.rig.rig import Rig

_NAMES = {"rigid": "rigid", "similarity": "similarity", "scales": "affine", "affine": "affine"}


def placement_of(best: Refined, design: Design, rig: Rig | None, thickness_mm: float) -> Placement:
    """The public value; expected errors from the fit's covariance."""
    holes = design.xy_mm
    pixels = chain(best.hypothesis.scene, best.placement, best.fit)(holes)
    if isinstance(best.fit, PlaneFit):
        assert isinstance(best.placement, Affine)
        variance = best.fit.variance_at(holes)
        assert rig is not None
        return Placement(
            _NAMES[best.fit.model],
            rig.plane(thickness_mm) @ best.placement,
            best.placement,
            pixels,
            best.placement(holes),
            np.sqrt(variance),
            best.agree,
            best.residual_rms_mm,
            best.px_per_mm,
        )
    # With lens terms fitted, the plain homography nearest to where the holes are.
    matrix, _ = cv2.findHomography(holes, pixels, 0)
    homography = Homography.scaled_for(matrix, holes)
    variance = best.fit.variance_px2(holes) / best.px_per_mm**2
    return Placement(
        "projective",
        homography,
        None,
        pixels,
        None,
        np.sqrt(variance),
        best.agree,
        best.residual_rms_mm,
        best.px_per_mm,
    )
