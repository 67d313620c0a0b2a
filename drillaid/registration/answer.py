"""A refined placement put into the words of the contract: holes, errors, matrices."""

from __future__ import annotations

import cv2
import numpy as np

from drillaid.design.model import Design
from drillaid.geometry import Affine, Homography
from drillaid.registration.lands_seen import LandsSeen
from drillaid.registration.refined import Refined
from drillaid.registration.result import Placement
from drillaid.rig.rig import Rig
from drillaid.vision.fringes import Fringes


UNSEEN_MM = 1.0  # without a rig, for a hole that no land vouches for


def placement_of(
    best: Refined, design: Design, rig: Rig | None, thickness_mm: float, lands: LandsSeen,
    fringes: Fringes,
) -> Placement:  # fmt: skip
    """The public value; expected errors from the fit's covariance."""
    holes = design.xy_mm
    pixels = best.to_px(holes)
    left_mm = fringes.doubt_px(pixels) / best.px_per_mm
    expected = np.sqrt(best.variance_mm2(holes) + left_mm**2)
    if rig is not None:
        assert isinstance(best.placement, Affine)
        homography = rig.plane(thickness_mm) @ best.placement
        matrix, bench = best.placement, best.placement(holes)
    else:
        # The plain homography nearest to where the holes are.
        through, _ = cv2.findHomography(holes, pixels, 0)
        homography, matrix, bench = Homography.scaled_for(through, holes), None, None
        # A camera that was guessed may be bent after all that agrees and be wrong beyond it,
        # with nothing in the fit to show for it but a land that is not where it should be.
        expected = np.where(lands.missing, np.maximum(expected, UNSEEN_MM), expected)
    return Placement(
        best.model,
        homography,
        matrix,
        pixels,
        bench,
        expected,
        lands.shown,
        best.residual_rms_mm,
        best.px_per_mm,
        land_missing=lands.missing,
    )
