"""Programs that tests start and kill: however a test ends, none outlives it.

`subprocess.Popen` as a context manager waits at its end for as long as it takes. A test that
fails, or that runs out of time, before it has killed its program would wait there for ever.
"""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DEADLINE_S = 60.0


@contextlib.contextmanager
def program(script: str, *words: str, deadline_s: float = DEADLINE_S) -> Iterator[subprocess.Popen]:
    """Runs tests/support/`script`; what it prints is in `stdout`, as text.

    Killed at the end of the block, and after deadline_s whatever the test waits for:
    reading its `stdout` then comes to an end.
    """
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, str(ROOT / "tests" / "support" / script), *words]
    child = subprocess.Popen(
        command, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True
    )
    watch = threading.Timer(deadline_s, child.kill)
    watch.start()
    try:
        yield child
    finally:
        watch.cancel()
        child.kill()
        child.wait(10)
        child.stdout.close()
        watch.join(10)
