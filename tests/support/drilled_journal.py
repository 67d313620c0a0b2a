"""Boards in a journal as if guided and inspected, the spindle's true place known."""

from __future__ import annotations

import numpy as np

from drillaid.geometry import Affine
from drillaid.guidance.events import Event
from drillaid.guidance.order import plan_order
from drillaid.guidance.work import Work
from drillaid.inspection.recording import INSPECTED
from drillaid.journal.journal import Journal, design_hash


def drill_board(
    journal: Journal,
    design,
    rng,
    *,
    truth_mm=(0.0, 0.0),
    scatter_mm=0.03,
    spindle_mm=None,
    unseen=(),
    undo_last=False,
    name=None,
) -> int:
    """The board's number. truth_mm: where the axis really is less where it was said to be,
    bench mm; scatter_mm: by axis; unseen: holes the inspection does not find."""
    work = Work.of(design, plan_order(design, list(design.drill_mm)))
    details = {"thickness_mm": 1.6, "stops": work.to_json()}
    if spindle_mm is not None:
        details["spindle_mm"] = list(spindle_mm)
    board = journal.start_board(
        name or design.name, design_hash(design), holes=len(design.holes), details=details
    )
    rows = []
    for hole in design.holes:
        turn = Affine.from_parts(rotation_rad=rng.uniform(-3, 3), mirrored=True, offset=(60, 50))
        aimed = rng.normal(0, 0.05, 2)
        drilled = aimed + truth_mm + rng.normal(0, scatter_mm, 2)
        journal.record(
            board,
            Event(1.0, "on_target", 1, hole.number, tuple(aimed), matrix=turn),
            Event(2.0, "hole_done", 2, hole.number, tuple(aimed), detail={"bit_mm": hole.drill_mm}),
        )
        off = np.linalg.solve(turn.linear, drilled)
        if hole.number not in unseen:
            rows.append(
                {"hole": hole.number, "state": "drilled", "off_mm": off.tolist(),
                 "expected_error_mm": 0.013, "centre_error_mm": 0.005}
            )  # fmt: skip
    if undo_last:
        journal.record(board, Event(3.0, "undone", detail={"what": "hole_done"}))
    journal.record(board, Event(0.0, INSPECTED, detail={"holes": rows, "true_scale": True}))
    return board
