"""`start.py bench` runs every measuring script here as well, with its own defaults."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

HERE = Path(__file__).parent
SCRIPTS = sorted(
    path.name for path in HERE.glob("bench_*.py") if "__main__" in path.read_text(encoding="utf-8")
)


@pytest.mark.parametrize("script", [name for name in SCRIPTS if name != Path(__file__).name])
def test_measured(script):
    print(f"\n--- {script}", flush=True)
    env = {**os.environ, "PYTHONPATH": str(HERE.parents[1])}
    done = subprocess.run([sys.executable, str(HERE / script)], check=False, env=env)
    assert done.returncode == 0
