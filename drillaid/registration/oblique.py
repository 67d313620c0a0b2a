"""The copper's edges under a camera nobody has calibrated: pose and focal length by all of them.

The same readings along normals as with a rig; each gives one equation for the
pose, the focal length, the stretch of the print, and the etch.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from drillaid.registration.edging import AGREE_MM, CELL_MM, polarity_of
from drillaid.registration.pose import ALL, Pose, priors
from drillaid.vision.contours import EdgeModel, read_edges
from drillaid.vision.eye import Eye, inside


@dataclass(frozen=True, eq=False)
class PoseEdges:
    """pose with the covariance of what was fitted and what was not; the rest as in EdgeFit."""

    pose: Pose
    etch_mm: float
    share: float
    scatter_mm: float
    polarity: float

    def as_etched(self, model: EdgeModel) -> EdgeModel:
        """As in EdgeFit."""
        return model.moved_in(self.etch_mm)


def fit_pose_by_edges(
    eye: Eye, pose: Pose, model: EdgeModel, px_per_mm: float, reaches=(0.6, 0.4, 0.25, 0.2, 0.2)
) -> PoseEdges | None:
    """Improves `pose` (design mm -> px) by the edges; None where they do not bear it out."""
    etch, polarity = 0.0, 0.0
    for reach in reaches:
        shifted = model.moved_in(etch)
        got = read_edges(eye.grey, pose, shifted, reach, noise=eye.noise, px_per_unit=px_per_mm)
        here = _inside(eye, pose, shifted)
        polarity = polarity_of(got, here)
        usable = got.clear & here & (np.sign(got.step) == polarity)
        if usable.sum() < 40:
            return None
        rows = _rows(pose, shifted.only(usable))
        step, weight, scatter = _solve(rows, got.off[usable], reach, pose)
        moved = pose.parameters.copy()
        moved[: pose.fitted] += step[:-1]
        pose, etch = replace(pose, parameters=moved), etch + step[-1]
    fitted = _fitted_columns(rows, pose)
    residual = got.off[usable] - fitted @ step
    share = float((np.abs(residual) < AGREE_MM).sum() / max(here.sum(), 1))
    covariance = _covariance(rows, residual, weight, model.xy[usable], pose)
    return PoseEdges(replace(pose, covariance=covariance), float(etch), share, scatter, polarity)


def _inside(eye: Eye, pose: Pose, model: EdgeModel) -> np.ndarray:
    return inside(eye.size_px, pose(model.xy), 2.0)


def _rows(pose: Pose, model: EdgeModel) -> np.ndarray:
    """d off / d (all parameters, etch), mm along the normal, shape (M, ALL + 1).

    An edge seen off by t along its normal lies at px + t J n; a change of pose that
    moves px by d explains n' J^-1 d of it. (Along the edge nothing can be seen.)
    """
    px, jacobian = pose.with_jacobian(model.xy)
    step = 1e-3
    dx = (pose(model.xy + [step, 0]) - px) / step
    dy = (pose(model.xy + [0, step]) - px) / step
    local = np.stack([dx, dy], axis=2)
    back = np.einsum("ni,nij->nj", model.normal, np.linalg.inv(local))
    moved = np.einsum("nj,njk->nk", back, jacobian)
    return np.column_stack([moved, np.ones(len(model))])


def _fitted_columns(rows: np.ndarray, pose: Pose) -> np.ndarray:
    return np.column_stack([rows[:, : pose.fitted], rows[:, -1]])


def _solve(rows: np.ndarray, off: np.ndarray, reach: float, pose: Pose):
    fitted, n = _fitted_columns(rows, pose), pose.fitted
    prior = np.diag(np.concatenate([priors(pose)[:n], [10.0]]))
    pull = np.concatenate([-prior.diagonal()[:n] * pose.parameters[:n], [0.0]])
    weight, scale = np.ones(len(off)), reach / 2
    step = np.zeros(n + 1)
    for _ in range(8):
        sigma = max(scale, 0.01) * np.sqrt(6.0)
        a = np.vstack([fitted * (np.sqrt(weight) / sigma)[:, None], prior])
        b = np.concatenate([off * np.sqrt(weight) / sigma, pull])
        size = np.maximum(np.linalg.norm(a, axis=0), 1e-12)
        step = np.linalg.lstsq(a / size, b, rcond=None)[0] / size
        residual = off - fitted @ step
        scale = float(np.clip(1.4826 * np.median(np.abs(residual)), 0.008, reach / 2))
        ratio = residual / (4.0 * scale)
        weight = np.where(np.abs(ratio) < 1, (1 - ratio**2) ** 2, 0.0)
    return step, weight, scale


def _covariance(rows, residual, weight, xy, pose: Pose) -> np.ndarray:
    """(ALL, ALL): clustered sandwich for the fitted, carried priors for the held."""
    n = pose.fitted
    fitted, held = _fitted_columns(rows, pose), rows[:, n:ALL]
    typical = max(1.4826 * np.median(np.abs(residual)), 0.008) * np.sqrt(6.0)
    prior = priors(pose) ** 2
    penalty = np.diag(np.concatenate([prior[:n], [100.0]])) * typical**2
    inner = np.linalg.pinv(fitted.T @ (fitted * weight[:, None]) + penalty)
    cell = np.floor(xy / CELL_MM).astype(np.int64)
    _, group = np.unique(cell[:, 0] * 100_003 + cell[:, 1], return_inverse=True)
    sums = np.zeros((group.max() + 1, n + 1))
    np.add.at(sums, group, fitted * (weight * residual)[:, None])
    own = inner @ (sums.T @ sums * (len(sums) / max(len(sums) - n - 1, 1)) + penalty * typical**2) @ inner
    carried = np.vstack([-(inner @ fitted.T @ (held * weight[:, None]))[:n], np.eye(ALL - n)])
    total = carried @ np.diag(1 / prior[n:]) @ carried.T
    total[:n, :n] += own[:n, :n]
    return total
