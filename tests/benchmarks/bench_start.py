"""How long a person waits before anything happens. Prints; judges only what must hold by far."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def seconds_of(*words: str, times: int = 7) -> float:
    """Median time of a command, after one run that fills the caches."""
    spans = []
    for _ in range(times + 1):
        began = time.perf_counter()
        subprocess.run(words, cwd=ROOT, check=True, capture_output=True, timeout=60)
        spans.append(time.perf_counter() - began)
    return statistics.median(spans[1:])


def test_bare_python():
    print(f"\npython -c pass: {seconds_of(sys.executable, '-c', 'pass'):.3f} s")


def test_help_comes_at_once():
    span = seconds_of(sys.executable, "-m", "drillaid", "--help")
    print(f"\ndrillaid --help: {span:.3f} s (asked for: under 0.3 s)")
    assert span < 0.3


def test_start_adds_little_once_set_up():
    direct = seconds_of(sys.executable, "-P", "-m", "drillaid", "--version")
    through = seconds_of(sys.executable, "start.py", "--version")
    print(f"\nstart.py adds {through - direct:.3f} s of its own (asked for: under 1 s)")
    assert through - direct < 1.0
