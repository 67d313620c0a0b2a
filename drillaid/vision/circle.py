"""The circle nearest to points in true distance, with what that circle is worth.

Minimised is the sum of w_i (|p_i - c| - r)^2, the geometric fit of Gander, Golub
and Strebel (BIT 34, 1994, 558-578), not an algebraic stand-in: on a part of a
rim the algebraic forms pull the centre towards the points, and a half-hidden
hole would become a displaced one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from drillaid.geometry import as_points


@dataclass(frozen=True, eq=False)
class Circle:
    """Lengths in the unit of the points.

    centre: (2,); radius
    covariance: (3, 3) of (x, y, radius), from the scatter of the points and the
      arc they cover: sigma^2 (J^T W J)^-1 of the last step, taking the errors of
      the points as independent. Infinite where three points leave no scatter.
    residuals: (N,), distance outside (+) or inside (-) the circle
    rms: of the weighted residuals
    """

    centre: np.ndarray
    radius: float
    covariance: np.ndarray
    residuals: np.ndarray
    rms: float


def fit_circle(points, weights=None, *, iterations: int = 100) -> Circle | None:
    """The geometric least-squares circle; None when the points do not fix one.

    points: (N, 2); weights: (N,) or None for ones, zero drops a point.
    Gauss-Newton with Levenberg's damping, started at the linear algebraic fit.
    None: fewer than three points of weight, all on one place or one line, or no
    convergence to a finite circle.
    """
    points = as_points(points)
    weights = np.ones(len(points)) if weights is None else np.asarray(weights, dtype=np.float64)
    if weights.shape != (len(points),) or (weights < 0).any():
        raise ValueError("weights must be one number of at least 0 for each point")
    if np.count_nonzero(weights) < 3:
        return None
    middle = np.average(points, axis=0, weights=weights)
    size = math.sqrt(np.average(((points - middle) ** 2).sum(axis=1), weights=weights))
    if not size > 0:
        return None
    scaled = (points - middle) / size
    start = _algebraic(scaled, weights)
    if start is None:
        return None
    solution = _geometric(scaled, weights, start, iterations)
    if solution is None:
        return None
    return _circle(points, weights, middle + solution[:2] * size, solution[2] * size)


def _algebraic(points: np.ndarray, weights: np.ndarray) -> np.ndarray | None:
    """Kasa's linear fit (x, y, r): only a start. None for points on a line."""
    root = np.sqrt(weights)[:, None]
    rows = np.column_stack([2 * points, np.ones(len(points))]) * root
    values = (points**2).sum(axis=1) * root[:, 0]
    solution, _, rank, _ = np.linalg.lstsq(rows, values, rcond=1e-9)
    if rank < 3:
        return None
    square = solution[2] + solution[:2] @ solution[:2]
    return np.array([*solution[:2], math.sqrt(square)]) if square > 0 else None


def _jacobian(points: np.ndarray, circle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    away = points - circle[:2]
    distance = np.maximum(np.hypot(away[:, 0], away[:, 1]), 1e-12)
    return distance - circle[2], np.column_stack([-away / distance[:, None], -np.ones(len(points))])


def _geometric(points, weights, circle, iterations) -> np.ndarray | None:
    residual, jacobian = _jacobian(points, circle)
    cost, damping = weights @ residual**2, 1e-3
    for _ in range(iterations):
        normal = jacobian.T @ (weights[:, None] * jacobian)
        gradient = jacobian.T @ (weights * residual)
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-12), -gradient)
        trial = circle + step
        new_residual, new_jacobian = _jacobian(points, trial)
        new_cost = weights @ new_residual**2
        if new_cost <= cost:
            circle, residual, jacobian, cost = trial, new_residual, new_jacobian, new_cost
            damping = max(damping / 10, 1e-15)
        else:
            damping *= 10
        if np.abs(step).max() < 1e-12 * max(1.0, abs(circle[2])) or damping > 1e12:
            break
    good = np.isfinite(circle).all() and 0 < circle[2] < 1e6
    return circle if good else None


def _circle(points, weights, centre, radius) -> Circle:
    residual, jacobian = _jacobian(points, np.array([*centre, radius]))
    used = np.count_nonzero(weights)
    square = weights @ residual**2
    normal = jacobian.T @ (weights[:, None] * jacobian)
    covariance = np.full((3, 3), np.inf)
    if used > 3 and np.linalg.cond(normal) < 1e14:
        covariance = np.linalg.inv(normal) * (square / (used - 3))
    return Circle(centre, float(radius), covariance, residual, math.sqrt(square / weights.sum()))
