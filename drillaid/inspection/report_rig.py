"""What a report says of the rig the board was photographed and drilled on."""

from __future__ import annotations

import numpy as np

from drillaid.design.model import Design
from drillaid.registration.result import Placement
from drillaid.rig.budget import budget_at
from drillaid.rig.rig import Rig


def rig_words(rig: Rig | None, placement: Placement, design: Design, height_mm: float) -> list[str]:
    """Sentences: the camera, and the error budget at the hole nearest to the board's middle."""
    if rig is None:
        return ["No rig file was used."]
    words = []
    name = rig.extra.get("name")
    told = f"Rig{f' {name}' if isinstance(name, str) else ''}: camera of "
    told += (
        f"{rig.width} x {rig.height} px, {1 / placement.px_per_mm:.3f} mm per pixel at the board."
    )
    words.append(told)
    if placement.matrix is None or rig.axis_mm is None:
        return words
    seen = design.xy_mm[np.asarray(placement.pad_seen, bool)]
    if len(seen) < 3:
        seen = design.xy_mm
    middle = design.xy_mm.mean(axis=0)
    hole = int(np.hypot(*(design.xy_mm - middle).T).argmin())
    own = float(placement.expected_error_mm[hole])
    budget = budget_at(
        rig, placement.matrix, seen, design.xy_mm[hole], height_mm,
        registration_mm=own if np.isfinite(own) else None,
    )  # fmt: skip
    words.append(f"At hole {hole + 1}, in the board's middle: {budget.sentence()}")
    return words
