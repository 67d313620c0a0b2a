"""`start.py bench` runs every measuring script here as well, with its own defaults.

First those with rows for README, in its order; `--table FILE` keeps what they print.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from support.bench_table import QUOTED

HERE = Path(__file__).parent
OTHERS = sorted(
    path.name
    for path in HERE.glob("bench_*.py")
    if "__main__" in path.read_text(encoding="utf-8")
    and path.name not in (Path(__file__).name, *QUOTED)
)


def run(script: str, *words: str) -> None:
    print(f"\n--- {script}", flush=True)
    # The processors may be shared: a script measures its own time, on one thread.
    threads = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1")
    env = {**os.environ, **threads, "PYTHONPATH": str(HERE.parents[1])}
    command = [sys.executable, str(HERE / script), *words]
    done = subprocess.run(command, check=False, env=env, timeout=1800)
    assert done.returncode == 0


@pytest.mark.parametrize("script", QUOTED)
def test_measured_for_the_table(script, table):
    run(script, "--table", str(table))


@pytest.mark.parametrize("script", OTHERS)
def test_measured(script):
    run(script)
