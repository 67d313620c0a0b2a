"""Transforms that fit pairs of points best, with what that says about their errors.

Every fit minimises the weighted sum of squared distances, weight 1 / sigma^2.
Least-squares similarity: S. Umeyama, IEEE PAMI 13(4):376-380, 1991.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.geometry import Affine, as_points

PARAMETERS = {"rigid": 3, "similarity": 4, "scales": 5, "affine": 6}


@dataclass(frozen=True, eq=False)
class PlaneFit:
    """transform: from -> to; covariance: (6, 6) of its matrix rows (a, b, c, d, e, f)
    as if the sigmas were right; chi2: weighted sum of squared residuals."""

    model: str
    transform: Affine
    covariance: np.ndarray
    chi2: float
    residual: np.ndarray

    def variance_at(self, xy) -> np.ndarray:
        """Variance of the mapped place (sum over both axes) at points (N, 2), shape (N,)."""
        points = as_points(xy)
        row = np.column_stack([points, np.ones(len(points))])
        cx, cy = self.covariance[:3, :3], self.covariance[3:, 3:]
        return np.einsum("ni,ij,nj->n", row, cx + cy, row)


def fit_similarity(source, target, weight=None, *, mirrored=False, scaled=True) -> Affine:
    """Umeyama's closed form; mirrored: the best transform with determinant < 0 instead.

    scaled False gives the best rigid transform (scale 1).
    """
    x, y = as_points(source), as_points(target)
    w = np.ones(len(x)) if weight is None else np.asarray(weight, dtype=np.float64)
    w = w / w.sum()
    mx, my = w @ x, w @ y
    dx, dy = x - mx, y - my
    sigma = (dy * w[:, None]).T @ dx
    u, d, vt = np.linalg.svd(sigma)
    wanted = -1.0 if mirrored else 1.0
    s = np.array([1.0, wanted * np.sign(np.linalg.det(u) * np.linalg.det(vt)) or 1.0])
    rotation = u @ np.diag(s) @ vt
    spread = float(w @ (dx**2).sum(axis=1))
    scale = float(d @ s) / spread if scaled else 1.0
    linear = scale * rotation
    return Affine(np.column_stack([linear, my - linear @ mx]))


def _basis(model: str, start: Affine, xy: np.ndarray) -> np.ndarray:
    """d (x', y') / d parameters at `start`, shape (N, 2, p)."""
    linear, n = start.linear, len(xy)
    turn = np.array([[0.0, -1.0], [1.0, 0.0]]) @ linear
    columns = [np.tile([1.0, 0.0], (n, 1)), np.tile([0.0, 1.0], (n, 1)), xy @ turn.T]
    if model == "similarity":
        columns.append(xy @ linear.T)
    if model in ("scales", "affine"):
        columns.append(xy[:, :1] * linear[:, 0])
        columns.append(xy[:, 1:] * linear[:, 1])
    if model == "affine":
        columns.append(xy[:, 1:] * linear[:, 0])
    return np.stack(columns, axis=2)


def fit_plane(source, target, sigma, model: str, *, mirrored: bool) -> PlaneFit:
    """Weighted least squares of one model, with covariance (see PARAMETERS for the models).

    scales: rotation with unequal scales along the SOURCE axes (paper that
    stretched along the feed), affine: any linear map.
    """
    x, y = as_points(source), as_points(target)
    sigma = np.asarray(sigma, dtype=np.float64)
    weight = 1.0 / sigma**2
    current = fit_similarity(x, y, weight, mirrored=mirrored, scaled=model != "rigid")
    centre = weight @ x / weight.sum()
    moved = x - centre
    for _ in range(1 if model in ("rigid", "similarity") else 4):
        local = Affine(np.column_stack([current.linear, current(centre[None])[0]]))
        basis = _basis(model, local, moved)
        rows = (basis / sigma[:, None, None]).reshape(-1, basis.shape[2])
        right = ((y - local(moved)) / sigma[:, None]).ravel()
        step, *_ = np.linalg.lstsq(rows, right, rcond=None)
        current = _stepped(local, model, step, centre)
    residual = y - current(x)
    covariance = _covariance(model, current, moved, centre, sigma)
    return PlaneFit(model, current, covariance, float(weight @ (residual**2).sum(axis=1)), residual)


def _stepped(local: Affine, model: str, step: np.ndarray, centre: np.ndarray) -> Affine:
    linear = local.linear.copy()
    c, s = np.cos(step[2]), np.sin(step[2])
    if model == "similarity":
        linear = linear * (1 + step[3])
    if model in ("scales", "affine"):
        grow = np.diag(1 + step[3:5])
        if model == "affine":
            grow[0, 1] = step[5]
        linear = linear @ grow
    linear = np.array([[c, -s], [s, c]]) @ linear
    offset = local.offset + step[:2]
    return Affine(np.column_stack([linear, offset - linear @ centre]))


def _covariance(model, current: Affine, moved, centre, sigma) -> np.ndarray:
    local = Affine(np.column_stack([current.linear, np.zeros(2)]))
    basis = _basis(model, local, moved)
    rows = (basis / sigma[:, None, None]).reshape(-1, basis.shape[2])
    return _to_rows(model, local, centre, np.linalg.pinv(rows.T @ rows))


def _to_rows(model, local: Affine, centre, inner) -> np.ndarray:
    """Covariance of the parameters -> of the matrix rows, by mapping three points exactly."""
    probe = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    at_probe = _basis(model, local, probe - centre)
    origin, ex, ey = at_probe
    to_matrix = np.stack([ex[0] - origin[0], ey[0] - origin[0], origin[0],
                          ex[1] - origin[1], ey[1] - origin[1], origin[1]])
    return to_matrix @ inner @ to_matrix.T


# One sigma of prints: the two scales in common, their difference, and shear. What a
# simple model leaves out may still be there; the pads bound it better than this or not.
PRINT = {"scale": 0.006, "stretch": 0.006, "shear": 0.002}


def print_covariance(fit: PlaneFit, source, sigma) -> np.ndarray:
    """(6, 6) of the matrix rows as if all of an affine map had been fitted, with what is
    known of prints: honest where evidence chose a simpler model (A. Gelman et al.,
    Bayesian Data Analysis, the linear model with a normal prior; from memory)."""
    x = as_points(source)
    weight = 1.0 / np.asarray(sigma, dtype=np.float64) ** 2
    centre = weight @ x / weight.sum()
    start = Affine(np.column_stack([fit.transform.linear, np.zeros(2)]))
    basis = _basis("affine", start, x - centre)
    rows = (basis * np.sqrt(weight)[:, None, None]).reshape(-1, 6)
    # Parameters: shift 2, turn, scale along x, scale along y, shear.
    known = np.zeros((3, 6))
    known[0, 3:5] = 0.5 / PRINT["scale"]
    known[1, 3:5] = np.array([1.0, -1.0]) / PRINT["stretch"]
    known[2, 5] = 1.0 / PRINT["shear"]
    return _to_rows("affine", start, centre, np.linalg.pinv(rows.T @ rows + known.T @ known))


def robust_weights(residual: np.ndarray, sigma: np.ndarray) -> tuple[np.ndarray, float]:
    """Tukey weights (N,) of residual vectors (N, 2), and how much larger than sigma they are.

    The second is a robust ratio of the residuals to their sigmas (1 when the
    sigmas are right): the median of a Rayleigh variable is sigma sqrt(2 ln 2).
    """
    ratio = np.linalg.norm(residual, axis=1) / sigma
    scale = max(float(np.median(ratio)) / 1.17741, 1e-6)
    cut = 4.7 * max(scale, 0.5)
    return np.where(ratio < cut, (1 - (ratio / cut) ** 2) ** 2, 0.0), scale
