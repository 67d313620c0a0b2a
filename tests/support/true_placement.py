"""Where a simulated board truly lies, as a registration would hand it over."""

from __future__ import annotations

import numpy as np

from drillaid.geometry import Affine, Homography
from drillaid.registration.result import Placement


def true_placement(bench, nudge_mm=(0.0, 0.0), error_mm: float = 1e-4) -> Placement:
    truth = bench.truth
    matrix = Affine(np.column_stack([truth.linear, truth.offset + nudge_mm]))
    rig, thickness = bench.rig, bench.thickness_mm
    at = matrix(bench.board.design.xy_mm)
    count = len(at)
    return Placement(
        "affine", rig.plane(thickness) @ Homography.of(matrix), matrix,
        rig.to_pixels(at, thickness), at, np.full(count, error_mm), np.ones(count, bool), 0.0,
        rig.px_per_mm(thickness),
    )  # fmt: skip
