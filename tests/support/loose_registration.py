"""What registration without a rig would hand over, drawn from a simulated bench's truth."""

from __future__ import annotations

import cv2
import numpy as np

from drillaid.geometry import Homography
from drillaid.registration.result import REGISTERED, Placement, Registration


def seen_without_rig(bench) -> Registration:
    """The plain homography nearest to the holes' true pixels: wrong by what the lens bends."""
    holes, true = bench.board.design.xy_mm, bench.true_pixels()
    through = Homography.scaled_for(cv2.findHomography(holes, true, 0)[0], holes)
    count, ratio = len(holes), bench.rig.px_per_mm(bench.thickness_mm)
    placement = Placement(
        "projective", through, None, through(holes), None, np.full(count, 0.1),
        np.ones(count, bool), 0.0, ratio,
    )  # fmt: skip
    return Registration(REGISTERED, "drawn", placement, count, count, count)
