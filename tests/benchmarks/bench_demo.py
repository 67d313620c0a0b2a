"""The whole demo twice with the same seed: the same figures, and how long it takes.

    python tests/benchmarks/bench_demo.py [SEED …]
"""

from __future__ import annotations

import sys
import tempfile
import time

from drillaid.demonstration.folder import DemoFolder
from drillaid.demonstration.story import Story


def run(seed: int) -> tuple[dict, dict]:
    """(the figures, seconds by stage)"""
    with tempfile.TemporaryDirectory() as folder:
        begun = time.perf_counter()
        told = Story(DemoFolder(folder), seed, lambda line: None).run()
        seconds = {**told.seconds, "total": time.perf_counter() - begun}
        summary = vars(told.inspection.summary)
        return {**told.comparison.to_json(), **summary, "frames": told.drilled.frames,
                "lost": told.drilled.lost, "skipped": told.drilled.skipped}, seconds  # fmt: skip


def main() -> None:
    for seed in [int(word) for word in sys.argv[1:]] or [7]:
        (first, seconds), (second, _) = run(seed), run(seed)
        print(f"seed {seed}:", {name: round(s, 1) for name, s in seconds.items()})
        for name, value in first.items():
            same = "" if value == second[name] else f"   DIFFERS: {second[name]}"
            print(f"  {name:20} {value}{same}")


if __name__ == "__main__":
    main()
