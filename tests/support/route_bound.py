"""How short a way through all points can be at best: exactly for few, a proven bound for many.

For many the bound of Held and Karp (The traveling-salesman problem and minimum spanning trees,
Operations Research 18, 1970, and part II, Mathematical Programming 1, 1971; cited from memory),
here for a way with a given start and a free end. Any tree over all points that is as cheap as
can be is no dearer than the best way, which is a tree too; and that stays so when a price p_i
is put on every end of an edge at point i, once what the way itself must pay is taken off: it
has two ends at each point, but one at its start and one at its end. The prices are raised
where the tree has too many ends and lowered where it has too few.
"""

from __future__ import annotations

import numpy as np


def exact_cost(costs: np.ndarray, start: int = 0) -> float:
    """Least cost of a way from `start` through all points: all subsets, n <= 14 or so."""
    count = len(costs)
    best = {(1 << start, start): 0.0}
    for _ in range(count - 1):
        longer: dict[tuple[int, int], float] = {}
        for (seen, at), cost in best.items():
            for to in range(count):
                if seen >> to & 1:
                    continue
                key, value = (seen | 1 << to, to), cost + costs[at, to]
                if value < longer.get(key, np.inf):
                    longer[key] = value
        best = longer
    return float(min(best.values()))


def least_cost(costs: np.ndarray, known: float, start: int = 0, rounds: int = 1500) -> float:
    """A bound that no way from `start` through all points goes below.

    costs: (N, N), symmetric; known: of any way, to set the pace; any value is safe.
    """
    prices = np.zeros(len(costs))
    best, pace, stale = -np.inf, 1.0, 0
    before = np.zeros(len(costs))
    for _ in range(rounds):
        tree, ends = cheapest_tree(costs + prices[:, None] + prices)
        last = int(prices.argmin())
        bound = tree - 2 * prices.sum() + prices[start] + prices[last]
        off = ends - 2.0
        off[start] += 1
        off[last] += 1
        if bound > best:
            best, stale = bound, 0
        else:
            stale += 1
        if stale >= 20:
            pace, stale = pace / 2, 0
        norm = float(off @ off)
        if norm == 0 or pace < 1e-4:
            break
        step = pace * max(1.02 * known - bound, 1e-4 * known) / norm
        prices = prices + step * (0.7 * off + 0.3 * before)
        before = off
    return float(best)


def cheapest_tree(costs: np.ndarray) -> tuple[float, np.ndarray]:
    """(cost, number of edges at each point) of a minimum spanning tree, by Prim's rule."""
    count = len(costs)
    ends = np.zeros(count)
    near, parent = costs[0].copy(), np.zeros(count, dtype=int)
    near[0] = np.inf
    outside = np.ones(count, dtype=bool)
    outside[0] = False
    total = 0.0
    for _ in range(count - 1):
        new = int(near.argmin())
        total += near[new]
        ends[new] += 1
        ends[parent[new]] += 1
        outside[new] = False
        near[new] = np.inf
        closer = outside & (costs[new] < near)
        near[closer] = costs[new][closer]
        parent[closer] = new
    return total, ends
