"""The simulated bench as one of the cameras: a class can practise without a drill."""

from __future__ import annotations

from queue import SimpleQueue

import numpy as np

from drillaid.guidance.job import Job
from drillaid.rig.rig import Rig
from drillaid.simulation.bench import SimulatedBench
from drillaid.simulation.camera import SimulatedCamera
from drillaid.simulation.conditions import bench_for

FPS = 30.0
TURN_RAD_PER_PX = 0.004


def practice_bench(job: Job, seed: int, rig: Rig | None = None) -> SimulatedBench:
    """An etched board of this design, not drilled yet, lying anywhere; rig: None for any."""
    return bench_for(job.design, seed, face=job.face, thickness_mm=job.thickness_mm, rig=rig)


def practice_camera(bench: SimulatedBench, errands: SimpleQueue | None = None) -> SimulatedCamera:
    """Paced by the clock, as a real one.

    errands: what the hand does, callables; done between two pictures, so that nobody waits
      for the one being drawn
    """

    def do_errands(_time_s: float) -> None:
        while errands is not None and not errands.empty():
            errands.get()()

    return SimulatedCamera(bench, FPS, realtime=True, before_frame=do_errands)


def drag(bench: SimulatedBench, dx_px: float, dy_px: float, px_per_mm: float) -> None:
    """The hand pushes the board: screen px, y down."""
    if px_per_mm > 0:
        bench.move(dx_px / px_per_mm, -dy_px / px_per_mm)


def turn(bench: SimulatedBench, dx_px: float) -> None:
    """The hand turns it about the spindle."""
    bench.move(0.0, 0.0, -TURN_RAD_PER_PX * dx_px)


def pull_lever(bench: SimulatedBench, bit_mm: float) -> np.ndarray:
    """The bit goes down where it stands; the place, design mm (2,)."""
    return bench.drill(bit_mm)


def drilled_before(bench: SimulatedBench, progress) -> None:
    """A board that is gone on with has the holes that the record says are done."""
    if bench.board.drilled:
        return  # it came with its holes
    for row in progress.done:
        stop = progress.work.stops[row]
        bench.board.drill(stop.xy_mm, stop.bit_mm)
