"""Work on whole pictures, shared out among the processors: the libraries that do it let other
threads go on meanwhile."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import cache

MOST_WORKERS = 8


def processors() -> int:
    """How many this program may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def side_by_side(work: Callable, trials: Sequence, *, worth_it: bool = True) -> list:
    """[work(trial) for trial in trials], several at a time where that is worth it."""
    workers = min(processors(), MOST_WORKERS, len(trials))
    if workers < 2 or not worth_it:
        return [work(trial) for trial in trials]
    # Dealt out once: handing over trials one by one costs as much as a short trial.
    done: list = [None] * len(trials)
    with ThreadPoolExecutor(workers) as pool:
        dealt = [trials[k::workers] for k in range(workers)]
        for k, results in enumerate(pool.map(lambda some: [work(trial) for trial in some], dealt)):
            done[k::workers] = results
    return done


@contextmanager
def meanwhile(work: Callable, *arguments) -> Iterator[Callable]:
    """Gives a function that returns work(*arguments), which goes on on another processor while
    the block runs; where there is none, it is worked out when it is asked for."""
    if processors() < 2:
        yield cache(lambda: work(*arguments))
        return
    with ThreadPoolExecutor(1) as pool:
        yield pool.submit(work, *arguments).result
