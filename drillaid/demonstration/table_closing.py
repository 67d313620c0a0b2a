"""The closing comparison of `demo --table`: where the bit truly went down, and in what state.

Looks at the truth, after everything is done; nothing that decides does.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.demonstration.table_run import Run


@dataclass(frozen=True)
class TableComparison:
    """seen_worst_mm: distance before the bit went down, as the camera saw it; true_rms_mm,
    true_worst_mm: distance of the spindle's axis from the hole's place at that moment, the
    bit's own wander left out; said_rms_mm: what was expected of that distance, from what was
    seen and its expected error; drilled_moving: how often the table moved across with the bit
    down or without its spindle turning as the bit went through (0, or something is wrong)
    """

    holes: int
    seen_worst_mm: float
    true_rms_mm: float
    true_worst_mm: float
    said_rms_mm: float
    drilled_moving: int

    def to_json(self) -> dict:
        return dict(vars(self))


def compare(sim, run: Run) -> TableComparison:
    """sim: the `TableOnBench` on which `run` was drilled."""
    xy = sim.bench.board.design.xy_mm
    rows = zip(run.holes, sim.bores, strict=True)
    off = np.array([np.hypot(*(at - xy[hole.hole - 1])) for hole, (at, _bit) in rows])
    return TableComparison(
        holes=len(off),
        seen_worst_mm=float(max(hole.distance_mm for hole in run.holes)),
        true_rms_mm=float(np.sqrt((off**2).mean())),
        true_worst_mm=float(off.max()),
        said_rms_mm=float(
            np.sqrt(
                np.mean([hole.distance_mm**2 + hole.expected_error_mm**2 for hole in run.holes])
            )
        ),
        drilled_moving=_wrong(sim),
    )


def _wrong(sim) -> int:
    """From the table's log of what truly happened."""
    face = sim.mechanics.surface_z_mm
    wrong = 0
    for happened in sim.table.log:
        if happened.what == "motion" and happened.start and happened.end:
            (x0, y0, z0), (x1, y1, z1) = happened.start[:3], happened.end[:3]
            across = abs(x1 - x0) + abs(y1 - y0) > 1e-6
            wrong += across and min(z0, z1) <= face
        elif happened.what == "drill":
            wrong += not happened.spinning
    return int(wrong)
