"""The table's figures: accuracy on drawn pictures, what looking costs, planning, and all faults.

python tests/benchmarks/bench_table.py --boards 4 [--faults]
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[k]) for k in (1, 2)]

import numpy as np  # noqa: E402
from support.small_board import small_design, tiny_design  # noqa: E402
from support.table_bench import broken_invariants  # noqa: E402
from support.table_drawn import DrawnJob  # noqa: E402
from support.table_faults import FAULTS, MOMENTS, ran  # noqa: E402


def drill(seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """One board: seen and true distances, and seconds of looking for each hole."""
    tiny = seed % 2 == 0
    job = DrawnJob((tiny_design if tiny else small_design)(), seed,
                   size=(1280, 720) if tiny else (1920, 1080))  # fmt: skip
    waited = watch_looking(job)
    outcome = job.run()
    seen, true = np.array(job.off_seen_mm), np.array(job.off_true_mm)
    if outcome.reason != "finished":
        print(f"seed {seed}: {outcome.message}")
    looks = np.array(job.finder.seconds[1:])  # the first search is no hole's
    print(
        f"seed {seed}: {len(true)} of {len(job.design.holes)} holes; seen worst {seen.max():.3f}; "
        f"true 95 % {np.quantile(true, 0.95):.3f}, worst {true.max():.3f} mm; "
        f"{len(looks) / len(true):.2f} looks a hole; a look {1000 * np.median(looks):.0f} ms, "
        f"mean {1000 * looks.mean():.0f} ms; looking {sum(waited[1:]) / len(true):.3f} + "
        f"{looks.sum() / len(true):.3f} s a hole"
    )
    return seen, true, (sum(waited[1:]) + looks.sum()) / len(true)


def watch_looking(job: DrawnJob) -> list[float]:
    """Simulated seconds between the end of a motion and the picture, settling included."""
    waited: list[float] = []
    look = job.eye.look

    def timed(after_s: float):
        begun = job.sim.clock.now()
        found = yield from look(after_s)
        waited.append(found.time_s - begun)
        return found

    job.eye.look = timed
    return waited


def faults() -> None:
    """Every fault at every moment, one line each."""
    broken = wrong = 0
    for fault in FAULTS:
        for moment in MOMENTS:
            begun = time.perf_counter()
            bench = ran(fault, moment)
            bad = broken_invariants(bench)
            off = bench.off_mm()
            broken += bool(bad)
            wrong += int((off > 0.05).sum())
            print(f"{fault.name:36} {moment.name:24} {bench.job.outcome.reason:20} "
                  f"{len(off)} bored, {1000 * (time.perf_counter() - begun):4.0f} ms  "
                  f"{bench.job.outcome.message[:110]} {bad or ''}")  # fmt: skip
    print(f"{len(FAULTS)} faults x {len(MOMENTS)} moments: {broken} with broken invariants, "
          f"{wrong} bores beside their place (those torn aside: see test_faults.py)")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--boards", type=int, default=4)
    parser.add_argument("--faults", action="store_true")
    args = parser.parse_args()
    made = [drill(seed) for seed in range(1, args.boards + 1)]
    seen, true = (np.concatenate([m[k] for m in made]) for k in (0, 1))
    print(
        f"{len(true)} holes: seen worst {seen.max():.3f} mm, plunges outside tolerance "
        f"{int((seen > 0.03).sum())}; true 95 % {np.quantile(true, 0.95):.3f}, worst "
        f"{true.max():.3f} mm; looking {np.mean([m[2] for m in made]):.3f} s a hole"
    )
    if args.faults:
        faults()


if __name__ == "__main__":
    main()
