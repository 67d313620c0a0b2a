"""A placement made exact by all edges of the copper, and judged by them.

Each edge point gives one equation: its distance along the normal is what the
placement is off there, plus the etch (over-etching moves all edges of the copper
inwards alike, which is one more unknown, not an error).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from scipy.linalg.lapack import dposv

from drillaid.geometry import Affine
from drillaid.vision.contours import EdgeModel, EdgeReadings, read_edges

AGREE_MM = 0.1  # an edge this near to its place is the one meant
FEWEST = 30  # edges on which to base anything
ROUNDS, CONVERGED_MM = 8, 1e-5  # of weights that depend on what they lead to
LEFT_OUT = 8  # parts of the board whose leaving out tells how well the rest is known
CELL_MM = 2.5  # readings nearer to each other than this share their errors
LOOSE = {"scale": 0.004, "shear": 0.002}  # one sigma of prints, for boards with little copper


@dataclass(frozen=True, eq=False)
class EdgeFit:
    """placement: model frame -> plane; etch_mm: edges lie this far into the copper, those
    across narrow gaps and narrow copper by narrow_etch_mm (2,) more;
    share: of clear edges that agree within AGREE_MM; scatter_mm: of one edge;
    covariance: (6, 6) of the placement's matrix rows (a, b, c, d, e, f) in the plane's
    unit, worked out by `doubt` when it is asked for: of most fits it never is"""

    placement: Affine
    etch_mm: float
    doubt: Callable[[], np.ndarray]
    share: float
    agreeing: int
    scatter_mm: float
    polarity: float
    narrow_etch_mm: tuple[float, float] = (0.0, 0.0)

    def as_etched(self, model: EdgeModel) -> EdgeModel:
        """The edges where this fit has them, in their own frame."""
        return model.moved_in(self.etch_mm, self.narrow_etch_mm)

    @cached_property
    def covariance(self) -> np.ndarray:
        return self.doubt()

    def variance_at(self, xy) -> np.ndarray:
        """Variance of the mapped place (sum over both axes) at points (N, 2), shape (N,)."""
        row = np.column_stack([xy, np.ones(len(xy))])
        inner = self.covariance[:3, :3] + self.covariance[3:, 3:]
        return np.einsum("ni,ij,nj->n", row, inner, row)


def polarity_of(readings: EdgeReadings, within: np.ndarray) -> float:
    """+1 where copper is the brighter side on most edges, -1 where it is the darker."""
    weight = np.where(readings.clear & within, readings.step, 0.0)
    return 1.0 if weight.sum() >= 0 else -1.0


def fit_edges(
    grey, to_px, model: EdgeModel, start: Affine, *, noise: float, px_per_mm: float,
    reaches=(0.6, 0.35, 0.25, 0.2), affine: bool = True, weights=None,
) -> EdgeFit | None:
    """Improves `start` (model mm -> plane); None where the edges do not bear it out.

    to_px: plane -> pixels as photographed; grey, weights: as for `read_edges`
    affine: False holds scale and shear as they are
    """
    if len(model) < FEWEST:
        return None
    look = _Look(grey, to_px, model, noise, px_per_mm, affine, weights)
    placement, etch = start, 0.0
    for reach in reaches:
        got = look.at(placement, etch, reach)
        if got is None:
            return None
        placement = moved(placement, got.step, look.middle, look.size)
        etch += got.step[6]
    residual = got.off - got.rows @ got.step
    agree = np.abs(residual) < AGREE_MM

    def doubt() -> np.ndarray:
        inner = _covariance(got.rows, residual, got.weight, got.xy)
        return of_matrix(inner, placement, look.middle, look.size)

    return EdgeFit(
        placement, float(etch), doubt, float(agree.sum() / len(model)), int(agree.sum()),
        got.scatter, got.polarity,
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class _Got:
    """What the edges say at one place: rows and off of the usable ones, and the step."""

    xy: np.ndarray
    rows: np.ndarray
    off: np.ndarray
    step: np.ndarray
    weight: np.ndarray
    scatter: float
    polarity: float


class _Look:
    """The same picture and model, looked at from one placement after another."""

    def __init__(self, grey, to_px, model, noise, px_per_mm, affine, weights) -> None:
        self.grey, self.to_px, self.model, self.affine = grey, to_px, model, affine
        self.reading = {"noise": noise, "px_per_unit": px_per_mm, "weights": weights}
        self.middle = model.xy.mean(axis=0)
        self.size = max(float(np.ptp(model.xy, axis=0).max()), 1.0)

    def at(self, placement: Affine, etch: float, reach: float) -> _Got | None:
        model = self.model
        shifted = model.moved_in(etch)
        readings = read_edges(
            self.grey, lambda xy: self.to_px(placement(xy)), shifted, reach, **self.reading
        )
        polarity = polarity_of(readings, np.abs(readings.off) < reach)
        usable = readings.clear & (np.sign(readings.step) == polarity)
        if usable.sum() < FEWEST:
            return None
        xy, off = model.xy[usable], readings.off[usable]
        rows = rows_of(xy, model.normal[usable], self.middle, self.size)
        return _Got(xy, rows, off, *_solve(rows, off, reach, self.size, self.affine), polarity)


def rows_of(xy, normal, middle, size) -> np.ndarray:
    """d off / d (shift 2, linear 4, etch): the linear part counts in units of `size`."""
    local = (xy - middle) / size
    rows = np.ones((len(xy), 7))
    rows[:, :2] = normal
    rows[:, 2:4] = normal[:, :1] * local
    rows[:, 4:6] = normal[:, 1:] * local
    return rows


@lru_cache(maxsize=64)
def known_of_prints(size: float, affine: bool) -> np.ndarray:
    """(7, 7) information: the weak knowledge that prints are nearly true."""
    # Linear part as (xx, xy, yx, yy): rotation and scale in common are free.
    stretch, shear, turn = [0, 0, 1, 0, 0, -1, 0], [0, 0, 0, 1, 1, 0, 0], [0, 0, 1, 0, 0, 1, 0]
    tight = 1.0 if affine else 1e-4
    prior = np.array(
        [
            np.array(stretch) / (2 * LOOSE["scale"] * size * tight),
            np.array(shear) / (2 * LOOSE["shear"] * size * tight),
            np.array(turn) / (2 * 5 * LOOSE["scale"] * size),
            np.array([0, 0, 0, 0, 0, 0, 1]) / 0.1,
        ]
    )
    return prior.T @ prior + 1e-9 * np.eye(7)


def weighed(weight: np.ndarray, scale) -> np.ndarray:
    """Information of each reading; readings of one cell are no six readings."""
    return weight / (6.0 * np.maximum(scale, 0.01) ** 2)


def _solve(rows, off, reach, size, affine: bool):
    """Robust least squares: (step, weight, scale)."""
    weight = np.ones(len(off))
    scale, step = reach / 2, np.zeros(7)
    known = known_of_prints(size, affine)
    columns = np.ascontiguousarray(rows.T)  # long rows are worked on several times faster
    for _ in range(ROUNDS):
        # Seven unknowns of like size: the normal equations are exact enough, and far
        # quicker than a decomposition of thousands of rows.
        weighted = columns * weighed(weight, scale)
        last, step = step, solve_positive(weighted @ columns.T + known, weighted @ off)
        residual = off - step @ columns
        away = np.abs(residual)
        middle = np.partition(away, len(away) // 2)[len(away) // 2]  # quicker than np.median
        scale = min(max(1.4826 * float(middle), 0.008), reach / 2)
        weight = np.square(np.maximum(1 - np.square(residual / (4.0 * scale)), 0.0))
        if np.abs(step - last).max() < CONVERGED_MM:
            break
    return step, weight, scale


def solve_positive(inner: np.ndarray, right: np.ndarray) -> np.ndarray:
    """x (p,) of inner x = right; inner: symmetric, positive definite. The library's own solver,
    called directly: of so small systems the usual way round takes four times as long."""
    _, step, failed = dposv(inner, right)
    return np.linalg.solve(inner, right) if failed else step


def moved(placement: Affine, step, middle, size) -> Affine:
    """`placement` after a step (7,) as `rows_of` counts it; its etch is nobody's place."""
    matrix = np.empty((2, 3))
    matrix[:, :2] = np.eye(2) + np.reshape(step[2:6], (2, 2)) / size
    matrix[:, 2] = middle + step[:2] - matrix[:, :2] @ middle
    return placement @ Affine(matrix)


def _covariance(rows, residual, weight, xy) -> np.ndarray:
    """(6, 6) of shift and linear part. Sandwich covariance with readings grouped by cells
    (clusters), after P. Huber 1967 and Liang & Zeger 1986 (from memory): neighbours on one
    ragged track are not independent."""
    inner = np.linalg.pinv(rows.T @ (rows * weight[:, None]) + np.eye(7) * 1e-9)
    cell = np.floor(xy / CELL_MM).astype(np.int64)
    _, group = np.unique(cell[:, 0] * 100_003 + cell[:, 1], return_inverse=True)
    score = rows * (weight * residual)[:, None]
    sums = np.column_stack([np.bincount(group, column) for column in score.T])
    groups = len(sums)
    meat = sums.T @ sums * (groups / max(groups - 7, 1))
    return (inner @ meat @ inner)[:6, :6]


def jackknife(left_out: np.ndarray) -> np.ndarray:
    """(p, p) covariance of what K answers (K, p), each without one group, scatter about: the
    delete-a-group jackknife (J. Tukey 1958; from memory)."""
    apart = left_out - left_out.mean(axis=0)
    return apart.T @ apart * ((len(left_out) - 1) / len(left_out))


def blocks_of(xy: np.ndarray, count: int) -> np.ndarray:
    """(N,) block of each point: halves of halves along the longer side, equally many in each.

    count: a power of two
    """
    block = np.zeros(len(xy), dtype=int)
    parts = 1
    while parts < count:
        for k in range(parts):
            here = np.flatnonzero(block == k)
            if len(here) < 2:
                continue
            axis = int(np.argmax(np.ptp(xy[here], axis=0)))
            upper = here[np.argsort(xy[here, axis], kind="stable")[len(here) // 2 :]]
            block[upper] += parts
        parts *= 2
    return block


def of_matrix(covariance, placement, middle, size) -> np.ndarray:
    """Parameters -> rows of the matrix, through the plane's linear part."""
    steps = np.zeros((6, 2, 3))  # of the matrix in the model's frame, as `moved` makes them
    steps[0, 0, 2] = steps[1, 1, 2] = 1.0
    for k, (row, column) in enumerate(((0, 0), (0, 1), (1, 0), (1, 1)), start=2):
        steps[k, row, column] = 1 / size
        steps[k, row, 2] = -middle[column] / size
    to_matrix = (placement.linear @ steps).reshape(6, 6)
    return to_matrix.T @ covariance @ to_matrix
