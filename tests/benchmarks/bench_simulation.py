"""Prints how long a simulated frame takes at 1080p: python tests/benchmarks/bench_simulation.py"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from drillaid.simulation.bench import Occluders, SimulatedBench, nominal_rig  # noqa: E402
from drillaid.simulation.board import SimulatedBoard  # noqa: E402
from drillaid.simulation.designs import demo_design  # noqa: E402


def milliseconds(action, rounds: int = 15) -> str:
    """Medians by the clock and of processor time: others may work on the same machine."""
    spent = []
    for _ in range(rounds):
        start = time.perf_counter(), time.process_time()
        action()
        spent.append((time.perf_counter() - start[0], time.process_time() - start[1]))
    clock, processor = 1000 * np.median(spent, axis=0)
    return f"{clock:7.1f} ms ({processor:5.1f} ms of processor time)"


def moving(bench: SimulatedBench) -> str:
    def step():
        bench.move(0.05, 0.02, 0.0005)
        bench.render()

    return milliseconds(step)


def main() -> None:
    design = demo_design()
    for threads in (1, 2):
        cv2.setNumThreads(threads)
        start = time.perf_counter()
        board = SimulatedBoard(design, seed=1)
        bench = SimulatedBench(board, nominal_rig(), seed=1)
        print(f"{threads} thread(s), demo board of {len(design.holes)} holes, 1920 x 1080")
        print(f"  making the bench      {1000 * (time.perf_counter() - start):7.0f} ms")
        print(f"  still board           {milliseconds(bench.render)}")
        print(f"  moving board          {moving(bench)}")
        bench.occluders = Occluders(bit=True, fingers=0.2)
        print(f"  moving, fingers, bit  {moving(bench)}")
        bench.occluders = Occluders()
        for at in design.xy_mm:
            board.drill(at, 0.9)
        print(f"  moving, all drilled   {moving(bench)}")
        optics = replace(bench.optics, jpeg=90)
        print(f"  moving, with JPEG     {moving(SimulatedBench(board, bench.rig, optics=optics))}")


if __name__ == "__main__":
    main()
