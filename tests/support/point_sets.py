"""Point set registration that knows nothing of boards, to be measured beside ours.

Both lay `model` on `points` by a rotation and a shift (scale as given, as a rig
gives it); any further tolerance for scale is the caller's `loose`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree
from scipy.stats import binom


@dataclass(frozen=True, eq=False)
class Laid:
    """x -> linear x + shift; score: higher is better, of one method only."""

    linear: np.ndarray
    shift: np.ndarray
    score: float

    def __call__(self, xy: np.ndarray) -> np.ndarray:
        return xy @ self.linear.T + self.shift


def kabsch(source: np.ndarray, target: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rotation (2, 2) and shift (2,) by least squares (Kabsch, Acta Cryst. A32, 1976)."""
    a, b = source.mean(axis=0), target.mean(axis=0)
    u, _, vt = np.linalg.svd((target - b).T @ (source - a))
    rotation = u @ np.diag([1.0, np.linalg.det(u @ vt)]) @ vt
    return rotation, b - rotation @ a


# --- RANSAC -------------------------------------------------------------------------------


class _Raster:
    """Which places are within `tolerance` of a point, as a picture: thousands a millisecond."""

    def __init__(self, points: np.ndarray, tolerance: float):
        self._step = tolerance / 4
        self._low = points.min(axis=0) - 2 * tolerance
        shape = np.ceil((np.ptp(points, axis=0) + 4 * tolerance) / self._step).astype(int) + 1
        reach = np.arange(-4, 5)
        du, dv = (d.ravel() for d in np.meshgrid(reach, reach))
        disc = np.hypot(du, dv) <= 4
        cell = np.rint((points - self._low) / self._step).astype(int)
        near = np.zeros(shape, bool)
        for u, v in zip(du[disc], dv[disc], strict=True):
            near[cell[:, 0] + u, cell[:, 1] + v] = True
        self.near, self.share = near, float(near.mean())

    def __call__(self, xy: np.ndarray) -> np.ndarray:
        cell = np.rint((xy - self._low) / self._step).astype(int)
        inside = ((cell >= 0) & (cell < self.near.shape)).all(axis=-1)
        cell[~inside] = 0
        return self.near[cell[..., 0], cell[..., 1]] & inside


def ransac(
    points: np.ndarray,
    model: np.ndarray,
    rng: np.random.Generator,
    *,
    tolerance: float,
    loose: float = 0.005,
    draws: int | None = None,
) -> Laid:
    """A similarity through pairs of points as far apart as a pair of the model.

    M. A. Fischler, R. C. Bolles, Comm. ACM 24(6), 1981 (from memory). One draw: a pair
    of model points and a point for its first; every point at the pair's distance
    (within `loose` of it) is tried for its second. When chance alone would give so many
    within tolerance less than once in 10^9 searches of this length (by the binomial
    law) it goes on for three times as long, as that may be a twin, and ends; at the
    latest after draws enough for 99 % if 60 % of the model are there.
    """
    raster, tree = _Raster(points, tolerance), cKDTree(points)
    draws = draws or int(np.ceil(-np.log(0.01) * len(points) / 0.6**2))
    tests = draws * 50.0
    enough = int(binom.isf(1e-9 / tests, len(model), raster.share)) + 1
    # Ten points decide whether the others are worth a look.
    few = model[rng.permutation(len(model))[:10]]
    best, place = -1, (np.eye(2), np.zeros(2))
    last = draws
    for number in range(draws):
        if number > last:
            break
        i, j = rng.choice(len(model), 2, replace=False)
        span = model[j] - model[i]
        length = np.hypot(*span)
        if length < 10 * tolerance:
            continue
        a = points[rng.integers(len(points))]
        away = points - a
        off = np.abs(np.hypot(away[:, 0], away[:, 1]) - length)
        second = away[off < loose * length + tolerance]
        if not len(second):
            continue
        # As complex numbers: a turn and nothing else.
        turn = (second[:, 0] + 1j * second[:, 1]) / (span[0] + 1j * span[1])
        turn /= np.abs(turn)
        linear = np.stack(
            [np.stack([turn.real, -turn.imag], 1), np.stack([turn.imag, turn.real], 1)], 1
        )
        shift = a - linear @ model[i]
        worth = raster(few @ linear.transpose(0, 2, 1) + shift[:, None]).sum(axis=1) >= 4
        if not worth.any():
            continue
        linear, shift = linear[worth], shift[worth]
        counts = raster(model @ linear.transpose(0, 2, 1) + shift[:, None]).sum(axis=1)
        k = int(counts.argmax())
        if counts[k] > best:
            best, place = int(counts[k]), (linear[k], shift[k])
            if best >= enough and last == draws:
                last = 4 * number + 200
    linear, shift = place
    for _ in range(5):
        distance, index = tree.query(model @ linear.T + shift)
        near = distance < tolerance
        if near.sum() < 3:
            break
        linear, shift = _similarity(model[near], points[index[near]])
    return Laid(linear, shift, float(best))


def _similarity(source: np.ndarray, target: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    a, b = source.mean(axis=0), target.mean(axis=0)
    z, w = ((p - m) @ [1, 1j] for p, m in ((source, a), (target, b)))
    turn = np.vdot(z, w) / np.vdot(z, z)
    linear = np.array([[turn.real, -turn.imag], [turn.imag, turn.real]])
    return linear, b - linear @ a


# --- coherent point drift -----------------------------------------------------------------


def drift(
    points: np.ndarray,
    model: np.ndarray,
    *,
    outliers: float,
    starts_rad,
    rounds: int = 60,
) -> Laid:
    """Rigid coherent point drift of the model, the best of several starting rotations.

    A. Myronenko, X. Song, "Point set registration: coherent point drift", IEEE TPAMI
    32(12), 2010, figure 2 with the scale held at 1 (from memory). outliers: its w, the
    share of points that belong to no model point. Each start has the model's middle
    on the points'; the best is the one of the greatest likelihood.
    """
    best = None
    for turn in starts_rad:
        c, s = np.cos(turn), np.sin(turn)
        laid = _drift_from(points, model, np.array([[c, -s], [s, c]]), outliers, rounds)
        if best is None or laid.score > best.score:
            best = laid
    return best


def _drift_from(
    points: np.ndarray, model: np.ndarray, rotation: np.ndarray, w: float, rounds: int
) -> Laid:
    n, m = len(points), len(model)
    # In single precision, as an exponent of millions of pairs is most of the cost.
    middle = points.mean(axis=0)
    x = (points - middle).astype(np.float32)
    y = (model - model.mean(axis=0)).astype(np.float32)
    linear, shift = rotation.astype(np.float32), np.zeros(2, np.float32)
    squares_x, squares_y = (x**2).sum(axis=1), (y**2).sum(axis=1)
    variance = float(squares_x.mean() + squares_y.mean()) / 2
    score = -np.inf
    for _ in range(rounds):
        laid = y @ linear.T + shift
        distance = (laid**2).sum(axis=1)[:, None] + squares_x - 2 * laid @ x.T
        p = np.exp(np.maximum(distance, 0) * (-0.5 / variance))
        # Equation 10's constant, for two dimensions.
        uniform = 2 * np.pi * variance * w / (1 - w) * m / n
        total = p.sum(axis=0) + uniform + 1e-30
        before, score = score, _log_likelihood(total, variance, w, m)
        p /= total
        of_x, of_y = p.sum(axis=0), p.sum(axis=1)
        weight = float(of_x.sum())
        if weight < 1e-3:
            break
        mean_x, mean_y = of_x @ x / weight, of_y @ y / weight
        # A = (weighted X)^T P^T (weighted Y); its singular vectors give the rotation.
        a = (p @ x).T @ y - weight * np.outer(mean_x, mean_y)
        u, _, vt = np.linalg.svd(a)
        linear = (u @ np.diag([1.0, np.linalg.det(u @ vt)]) @ vt).astype(np.float32)
        shift = mean_x - linear @ mean_y
        spread = of_x @ squares_x - weight * mean_x @ mean_x
        spread += of_y @ squares_y - weight * mean_y @ mean_y - 2 * np.trace(a.T @ linear)
        variance = max(float(spread) / (2 * weight), 1e-4)
        if abs(score - before) < 1e-6 * abs(score):
            break
    final = linear.astype(np.float64)
    return Laid(final, shift + middle - final @ model.mean(axis=0), score)


def _log_likelihood(total: np.ndarray, variance: float, w: float, m: int) -> float:
    """Of the points under the mixture, up to a constant; total: sums of equation 6."""
    return float(np.log(total, dtype=np.float64).sum() + len(total) * np.log(
        (1 - w) / (m * 2 * np.pi * variance)
    ))  # fmt: skip
