"""Short routes through points: the only place that calls the travelling-salesman solver.

The solver (fast-tsp) takes whole numbers up to 65535, draws its own random
numbers and stops by the clock. So distances are scaled to its range, and ties,
which rows on a grid have by the thousand, are broken by moving each point up to
0.01 mm in a fixed pattern: with one best route left, a run of up to about 200
holes comes out the same every time. It is not guaranteed: keep the route you got.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from drillaid.geometry import as_points

_SOLVER_MAX = 65535
_TIE_BREAK_MM = 0.02
# The table of all distances grows with the square: 2500 points take about 100 MB.
_MOST_AT_ONCE = 2500


# (ways along x, ways along y), mm -> what they cost; must be that of a metric
Cost = Callable[[np.ndarray, np.ndarray], np.ndarray]


def route(
    xy_mm,
    *,
    start_mm=None,
    closed: bool = False,
    budget_s: float | None = None,
    cost: Cost = np.hypot,
) -> list[int]:
    """Row numbers of xy_mm, (N, 2), in an order of short travel; each once.

    closed:   back to the first point at the end (then start_mm is not used)
    start_mm: where the way begins; None lets it begin anywhere, and then it is
              turned to begin at the end nearer to (least x + y)
    budget_s: at most this long; None takes 0.2 s to 2 s by the number of points.
              Up to 20 points (18 with start_mm) are solved exactly.
    cost:     what shall be least; the length of the way, unless told otherwise
    Points in the same place stay neighbours. More than 2500 points are cut into
    strips from left to right, each with the budget to itself.
    """
    points = as_points(xy_mm)
    if not np.isfinite(points).all():
        raise ValueError("points must be finite")
    if len(points) <= 1:
        return list(range(len(points)))
    if len(points) > _MOST_AT_ONCE:
        return _in_strips(points, start_mm, budget_s, cost)
    budget = _budget_s(len(points)) if budget_s is None else budget_s
    if closed:
        return _closed(points, budget, cost)
    start = None if start_mm is None else as_points(start_mm)
    path = _open(points, start, budget, cost)
    if start is None and points[path[0]].sum() > points[path[-1]].sum():
        path.reverse()
    return path


def travel_mm(xy_mm, path, *, start_mm=None, closed: bool = False) -> float:
    """Length of the way through xy_mm in the order `path`, from start_mm if given."""
    points = as_points(xy_mm)[list(path)]
    if start_mm is not None:
        points = np.vstack([as_points(start_mm), points])
    if closed and len(points):
        points = np.vstack([points, points[:1]])
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


def _in_strips(points: np.ndarray, start_mm, budget_s: float | None, cost: Cost) -> list[int]:
    across = np.lexsort((points[:, 1], points[:, 0]))
    path: list[int] = []
    for strip in np.array_split(across, -(-len(points) // _MOST_AT_ONCE)):
        at = points[path[-1]] if path else start_mm
        path += strip[route(points[strip], start_mm=at, budget_s=budget_s, cost=cost)].tolist()
    return path


def _budget_s(count: int) -> float:
    return float(np.clip(count / 250, 0.2, 2.0))


def _distances(points: np.ndarray, cost: Cost = np.hypot) -> np.ndarray:
    step = np.arange(len(points))[:, None] * [[0.754877666, 0.569840291]]
    moved = points + _TIE_BREAK_MM * (np.modf(step + 0.5)[0] - 0.5)
    x, y = moved.T
    return cost(x[:, None] - x, y[:, None] - y)


def _solve(distances: np.ndarray, budget_s: float) -> list[int]:
    import fast_tsp

    return list(
        fast_tsp.find_tour(distances.astype(np.uint16), duration_seconds=budget_s, max_threads=1)
    )


def _closed(points: np.ndarray, budget_s: float, cost: Cost) -> list[int]:
    distances = _distances(points, cost)
    tour = _solve(np.rint(distances * (_SOLVER_MAX / max(distances.max(), 1e-9))), budget_s)
    first = tour.index(0)
    tour = tour[first:] + tour[:first]
    return tour if tour[1] <= tour[-1] else tour[:1] + tour[:0:-1]


def _open(points: np.ndarray, start: np.ndarray | None, budget_s: float, cost: Cost) -> list[int]:
    """Closed tour with an extra node that stands for "from the end back to the start".

    Free start: the extra node is equally far from every point. Given start: it
    costs nothing from the start and more than any detour from elsewhere (the
    largest real distance is half the solver's range, the extra one all of it),
    so the two stay neighbours and the tour cut there begins at the start.
    """
    count = len(points)
    nodes = points if start is None else np.vstack([points, start])
    distances = _distances(nodes, cost)
    scale = (_SOLVER_MAX // 2) / max(distances.max(), 1e-9)
    padded = np.full((len(nodes) + 1,) * 2, _SOLVER_MAX, dtype=np.float64)
    padded[:-1, :-1] = np.rint(distances * scale)
    padded[-1, -1] = 0
    if start is not None:
        padded[-1, count] = padded[count, -1] = 0
    tour = _solve(padded, budget_s)
    cut = tour.index(len(nodes))
    path = tour[cut + 1 :] + tour[:cut]
    if start is not None:
        if path[-1] == count:
            path.reverse()
        path = path[1:] if path[0] == count else _from_start(path, count, distances)
    return path


def _from_start(path: list[int], start: int, distances: np.ndarray) -> list[int]:
    """Only if the solver ran out of time before the start came to the end of the way."""
    path = [node for node in path if node != start]
    return path if distances[start, path[0]] <= distances[start, path[-1]] else path[::-1]
