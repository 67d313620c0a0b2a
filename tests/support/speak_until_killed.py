"""Says one word and then lives until it is killed; for tests/test_guards.py."""

from __future__ import annotations

import time

print("speaking", flush=True)
while True:
    time.sleep(1)
