"""Which reason a refusal gives, against the true one: python tests/benchmarks/bench_refusals.py

Simulated benches with one thing wrong, each registered as an operator would: half with
Gerber, half by the drill list alone. Rows are what is wrong, columns what was said.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from drillaid.registration.reasons import why_not_found  # noqa: E402
from drillaid.registration.register import register_picture  # noqa: E402
from drillaid.simulation import mishaps  # noqa: E402
from drillaid.simulation.conditions import ordinary, without_board  # noqa: E402
from drillaid.simulation.designs import random_design  # noqa: E402

CAUSES = {
    "empty bench": without_board,
    "another design": ordinary,
    "bare side": mishaps.bare_side,
    "out of focus": mishaps.defocused,
    "shaken": mishaps.shaken,
    "under water": mishaps.under_water,
    "dark": mishaps.dim,
    "burnt out": mishaps.dazzled,
    "barely in view": mishaps.barely_in_view,
}
RIGHT_MM = 0.1


def one(cause: str, seed: int) -> tuple[str, float]:
    """(what was said, seconds of processor time for the reason alone)."""
    bench = CAUSES[cause](seed)
    image = bench.render()
    own = bench.board.design if bench.board is not None else random_design(seed)
    design = random_design(seed + 5000) if cause == "another design" else own
    if seed % 2:
        design = replace(design, copper={}, lands=())
    got = register_picture(image, design, rig=bench.rig, thickness_mm=bench.thickness_mm)
    start = time.process_time()
    why_not_found(image, [], design.xy_mm)
    seconds = time.process_time() - start
    if not got.ok:
        return got.reason, seconds
    if bench.board is None or design is not own and cause == "another design":
        return "WRONG", seconds
    off = np.linalg.norm(got.placement.bench_mm - bench.truth(design.xy_mm), axis=1)
    return ("found" if off.max() < RIGHT_MM else "WRONG"), seconds


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--boards", type=int, default=2, help="of each cause (default: 2)")
    parser.add_argument("--first", type=int, default=9000, help="seed of the first")
    parser.add_argument("--cause", action="append", choices=list(CAUSES), help="only this")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    spent = []
    print("found: every hole within 0.1 mm; WRONG: accepted and not so")
    for cause in args.cause or CAUSES:
        said = []
        for seed in range(args.first, args.first + args.boards):
            reason, seconds = one(cause, seed)
            said.append(reason)
            spent.append(seconds)
        counts = ", ".join(f"{n} {reason}" for reason, n in Counter(said).most_common())
        print(f"{cause:16s} {len(said):3d}   {counts}", flush=True)
    print(f"the reason: median {np.median(spent):.2f} s, worst {max(spent):.2f} s of one processor")


if __name__ == "__main__":
    main()
