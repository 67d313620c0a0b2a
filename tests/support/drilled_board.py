"""The small board drilled on a simulated bench, and a check of it."""

from __future__ import annotations

import numpy as np
from support.small_board import MM_PER_PX, SIZE, small_design

from drillaid.guidance.events import Event
from drillaid.guidance.job import Job, prepare
from drillaid.simulation.bench import SimulatedBench
from drillaid.simulation.board import SimulatedBoard
from drillaid.simulation.export import write_fabrication_files
from drillaid.simulation.rigs import nominal_rig

THICKNESS_MM = 1.6


def small_job(folder) -> Job:
    """Its files are written into the folder and read back."""
    files = write_fabrication_files(small_design(), folder, "small")
    return prepare(
        files, face="bottom", thickness_mm=THICKNESS_MM, bits_mm=(0.8, 1.0, 1.3, 3.2),
        tolerance_mm=0.2,
    )  # fmt: skip


def drilled_bench(job: Job, leave: tuple[int, ...] = (), seed: int = 3, **print_) -> SimulatedBench:
    """All holes but `leave` bored where the design has them, 0.03 mm sigma each way."""
    rng = np.random.default_rng(seed)
    board = SimulatedBoard(small_design(), seed=seed, px_per_mm=15.0, **print_)
    bench = SimulatedBench(board, nominal_rig(*SIZE, MM_PER_PX, 0.05, 1.0, seed=seed), seed=seed)
    bench.place(1.0, -2.0, 0.15)
    for hole, choice in zip(job.design.holes, job.choices, strict=True):
        if hole.number not in leave:
            bench.board.drill(np.array(hole.xy_mm) + rng.normal(0, 0.03, 2), choice.bit_mm)
    return bench


def record_holes(journal, board: int, job: Job, leave: tuple[int, ...] = ()) -> None:
    """As the guidance would have, 10 s apart on the journal's clock."""
    for bit, _ in job.bit_counts:
        journal.record(board, Event(1.0, "bit_fitted", detail={"bit_mm": bit}))
        for hole, choice in zip(job.design.holes, job.choices, strict=True):
            if choice.bit_mm == bit and hole.number not in leave:
                detail = {"part": 1, "parts": 1, "bit_mm": bit, "forced": False}
                journal.record(board, Event(1.0, "hole_done", hole=hole.number, detail=detail))
