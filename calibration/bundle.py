"""Lens and poses of all views at once: weighted least squares over every corner.

Minimised is the sum over corners of |seen - projected|^2 / sigma^2 with the lens of
the OpenCV model (fx, fy, cx, cy, k1, k2, p1, p2, k3) and six numbers of pose for each
view; and, if asked, the sheet's stretch: printers feed paper a little longer or shorter
than they print across it. The poses are eliminated view by view (Schur complement), so
leaving a view out costs one small solution. Method: Triggs et al., "Bundle Adjustment: A Modern
Synthesis" (2000), from memory; derivatives are the image library's `projectPoints`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

NAMES = ("fx", "fy", "cx", "cy", "k1", "k2", "p1", "p2", "k3")
STRETCH = 9  # index of the sheet's stretch behind the lens's values: y is longer by 1 + stretch
# One sigma of it beforehand, common practice, no source. Views that are not turned against
# each other cannot tell a stretched sheet from pixels that are not square.
STRETCH_SIGMA = 0.003
LINEAR = (0, 1, 2, 3)
STEPS = 40


@dataclass(frozen=True, eq=False)
class Seen:
    """Corners of one view: mm (N, 2) on the pattern, px (N, 2), sigma_px (N,)."""

    mm: np.ndarray
    px: np.ndarray
    sigma_px: np.ndarray


@dataclass(frozen=True, eq=False)
class Fit:
    """values: (10,) as NAMES, then the sheet's stretch; free: indices that were fitted
    poses: (V, 6), rotation vector (rad) and translation (mm), pattern -> camera
    off_px: per view (N, 2), seen minus projected
    normal: (V, F, F) and pull: (V, F), what each view alone says about the free values
    once its pose is eliminated; prior: (F,) 1 / sigma^2 known beforehand
    cost: the sum minimised
    """

    values: np.ndarray
    free: tuple[int, ...]
    poses: np.ndarray
    off_px: tuple[np.ndarray, ...]
    normal: np.ndarray
    pull: np.ndarray
    prior: np.ndarray
    cost: float

    @property
    def matrix(self) -> np.ndarray:
        return matrix_of(self.values)

    @property
    def distortion(self) -> np.ndarray:
        return self.values[4:9]

    def covariance(self) -> np.ndarray:
        """(F, F) of the free values if every sigma_px were right and independent."""
        return np.linalg.pinv(self.normal.sum(axis=0) + np.diag(self.prior), hermitian=True)

    def without(self, views) -> np.ndarray:
        """(10,) values to first order as if those views had not been taken."""
        rest = np.ones(len(self.poses), bool)
        rest[views] = False
        values = self.values.copy()
        free = list(self.free)
        normal = self.normal[rest].sum(0) + np.diag(self.prior)
        pull = self.pull[rest].sum(0) - self.prior * values[free]
        values[free] += np.linalg.lstsq(normal, pull, rcond=None)[0]
        return values


def matrix_of(values) -> np.ndarray:
    """(3, 3) camera matrix of the first four values."""
    fx, fy, cx, cy = values[:4]
    return np.array([[fx, 0, cx], [0, fy, cy], [0, 0, 1.0]])


def fit_bundle(
    views: Sequence[Seen],
    size_px: tuple[int, int],
    free: Sequence[int] = range(9),
    start: Fit | None = None,
    huber: float | None = None,
    tolerance: float = 1e-12,
) -> Fit | None:
    """The best lens for the views, or None where no start is found.

    free: indices into NAMES, and STRETCH; others stay at the start's values, or 0
    start: a fit of the same views to begin from
    huber: residuals beyond this many sigma weigh less; None: ordinary least squares
    tolerance: ends when a step lowers the sum by less than this share
    """
    free = tuple(sorted(free))
    begin = _start(views, size_px) if start is None else (start.values.copy(), start.poses.copy())
    if begin is None:
        return None
    values, poses = begin
    if start is not None:  # terms that are not free now were perhaps free before
        values[[i for i in range(4, 10) if i not in free]] = 0.0
    damping, best = 1e-3, _linearised(views, values, poses, free, huber)
    for _ in range(STEPS):
        step, pose_steps = _step(best, damping)
        trial_values = values.copy()
        trial_values[list(free)] += step
        trial_poses = poses + pose_steps
        trial = _linearised(views, trial_values, trial_poses, free, huber)
        if trial["cost"] < best["cost"]:
            done = best["cost"] - trial["cost"] < tolerance * best["cost"]
            values, poses, best = trial_values, trial_poses, trial
            damping = max(damping * 0.2, 1e-12)
            if done:
                break
        else:
            damping *= 8
            if damping > 1e8:
                break
    off, prior = tuple(best["off"]), _prior(free)
    return Fit(values, free, poses, off, best["normal"], best["pull"], prior, best["cost"])


def _prior(free) -> np.ndarray:
    return np.array([1 / STRETCH_SIGMA**2 if i == STRETCH else 0.0 for i in free])


def _start(views, size_px) -> tuple[np.ndarray, np.ndarray] | None:
    """Lens from the views' homographies (Zhang 2000), else the likeliest of a few lenses."""
    width, height = size_px
    middle = (width - 1) / 2, (height - 1) / 2
    objects = [_three(view.mm).astype(np.float32) for view in views]
    images = [view.px.astype(np.float32) for view in views]
    focals = [factor * max(size_px) for factor in (0.6, 0.85, 1.3, 2.2, 4.0)]
    guess = cv2.initCameraMatrix2D(objects, images, size_px, 1.0)
    if np.isfinite(guess).all() and 0.2 * max(size_px) < guess[0, 0] < 20 * max(size_px):
        focals.insert(0, float(guess[0, 0]))
    best = None
    for focal in focals:
        values = np.array([focal, focal, *middle, 0, 0, 0, 0, 0, 0.0])
        poses = [pose_of(view, values) for view in views]
        if any(pose is None for pose in poses):
            continue
        poses = np.array(poses)
        cost = _linearised(views, values, poses, LINEAR, 4.0)["cost"]
        if best is None or cost < best[0]:
            best = cost, values, poses
    return None if best is None else best[1:]


def _three(mm: np.ndarray, values=()) -> np.ndarray:
    """(N, 3) points of the sheet, stretched as the values say."""
    stretch = values[STRETCH] if len(values) > STRETCH else 0.0
    return np.column_stack([mm[:, 0], mm[:, 1] * (1 + stretch), np.zeros(len(mm))])


def pose_of(view: Seen, values: np.ndarray, steps: int = 0, start=None) -> np.ndarray | None:
    """(6,) pose of one view through a known lens; steps: of Gauss-Newton afterwards."""
    if start is None:
        ok, turn, shift = cv2.solvePnP(
            _three(view.mm, values),
            view.px,
            matrix_of(values),
            values[4:9],
            flags=cv2.SOLVEPNP_IPPE,
        )
        if not ok:
            return None
        start = np.concatenate([turn.ravel(), shift.ravel()])
    pose = np.array(start, float)
    for _ in range(steps):
        px, slope = cv2.projectPoints(
            _three(view.mm, values), pose[:3], pose[3:], matrix_of(values), values[4:9]
        )[:2]
        weight = np.repeat(1 / view.sigma_px, 2)
        off = (view.px - px.reshape(-1, 2)).ravel() * weight
        pose += np.linalg.lstsq(slope[:, :6] * weight[:, None], off, rcond=None)[0]
    return pose


def projected(mm: np.ndarray, values: np.ndarray, pose: np.ndarray) -> np.ndarray:
    """(N, 2) px of pattern mm (N, 2)."""
    three = _three(mm, values)
    px = cv2.projectPoints(three, pose[:3], pose[3:], matrix_of(values), values[4:9])[0]
    return px.reshape(-1, 2)


def _linearised(views, values, poses, free, huber) -> dict:
    out: dict = {"off": [], "blocks": [], "normal": [], "pull": [], "cost": 0.0}
    columns, stretched = [6 + i for i in free if i != STRETCH], STRETCH in free
    k = matrix_of(values)
    for view, pose in zip(views, poses, strict=True):
        three = _three(view.mm, values)
        px, slope = cv2.projectPoints(three, pose[:3], pose[3:], k, values[4:9])[:2]
        off = view.px - px.reshape(-1, 2)
        size = np.hypot(*off.T) / view.sigma_px
        weight = np.ones(len(size)) if huber is None else np.minimum(1, huber / (size + 1e-12))
        out["cost"] += float((weight * (2 - weight) * size**2).sum())
        scale = np.repeat(np.sqrt(weight) / view.sigma_px, 2)[:, None]
        lens, pose_part = slope[:, columns], slope[:, :6] * scale
        if stretched:  # a point of the sheet moved along its y moves in the camera as R does
            along_y = slope[:, 3:6] @ cv2.Rodrigues(pose[:3])[0][:, 1]
            lens = np.column_stack([lens, along_y * np.repeat(view.mm[:, 1], 2)])
        lens = lens * scale
        right = off.ravel() * scale[:, 0]
        v, w = pose_part.T @ pose_part, lens.T @ pose_part
        v += 1e-12 * np.diag(np.diag(v))
        to_pose = np.linalg.solve(v, np.column_stack([w.T, pose_part.T @ right]))
        out["off"].append(off)
        out["blocks"].append(to_pose)
        out["normal"].append(lens.T @ lens - w @ to_pose[:, :-1])
        out["pull"].append(lens.T @ right - w @ to_pose[:, -1])
    if stretched:
        out["cost"] += float((values[STRETCH] / STRETCH_SIGMA) ** 2)
    out["known"] = _prior(free), values[list(free)]
    if not np.isfinite(out["cost"]):
        out["cost"] = np.inf
    out["normal"], out["pull"] = np.array(out["normal"]), np.array(out["pull"])
    return out


def _step(at: dict, damping: float) -> tuple[np.ndarray, np.ndarray]:
    prior, values = at["known"]
    normal = at["normal"].sum(axis=0) + np.diag(prior)
    damped = normal + damping * np.diag(np.diag(normal)) + 1e-300 * np.eye(len(normal))
    step = np.linalg.lstsq(damped, at["pull"].sum(axis=0) - prior * values, rcond=None)[0]
    return step, np.array([block[:, -1] - block[:, :-1] @ step for block in at["blocks"]])
