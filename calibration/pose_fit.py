"""The camera's pose over the bench, by all that was seen at once.

Unknown are the pose (rotation vector, translation: bench -> camera) and where each
sheet lies in its plane (x, y, turn), unless its place is given. Known are points of
sheets, on the plane of their printed face, and points of marks, in the bench frame.
Least squares of pixels by Gauss-Newton with Huber's weights; each point's sigma is
multiplied by what the residuals say all were stated too small by.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from drillaid.rig.doubt import LENS, project
from drillaid.rig.rig import Rig

HUBER = 2.5  # sigmas from which a point counts less
ROUNDS = 30
POSE = 6


@dataclass(frozen=True, eq=False)
class Points:
    """Seen points that lie still against each other.

    px: (N, 2) as photographed; sigma_px: (N,) one sigma along either axis
    mm: (N, 2) in their own plane, right-handed seen from above; height_mm: of that plane
    place: (3,) x, y, turn of their plane in the bench frame; free: it has to be found
    """

    px: np.ndarray
    sigma_px: np.ndarray
    mm: np.ndarray
    height_mm: float
    place: np.ndarray
    free: bool

    def on_bench(self) -> tuple[np.ndarray, np.ndarray]:
        """(N, 3) bench mm and its derivative by the place, (N, 3, 3)."""
        x, y, turn = self.place
        c, s = np.cos(turn), np.sin(turn)
        turned = self.mm @ np.array([[c, s], [-s, c]])
        xyz = np.column_stack([turned + [x, y], np.full(len(turned), self.height_mm)])
        slope = np.zeros((len(turned), 3, 3))
        slope[:, 0, 0] = slope[:, 1, 1] = 1.0
        slope[:, 0, 2], slope[:, 1, 2] = -turned[:, 1], turned[:, 0]
        return xyz, slope


@dataclass(frozen=True, eq=False)
class PoseFit:
    """rig: camera and pose; points: as given, each with its place as found

    residual_px: for each of points (N, 2), seen less fitted; weight: (N,), 1 where
      it counted in full, below for strays
    inflation: by how much the stated sigmas were too small, at least 1
    covariance: (6, 6) of the pose for a true lens; lens_gain: (6, 9)
    solver: (6, 2 N) by how much each seen coordinate moves the pose
    """

    rig: Rig
    points: tuple[Points, ...]
    residual_px: tuple[np.ndarray, ...]
    weight: tuple[np.ndarray, ...]
    inflation: float
    covariance: np.ndarray
    lens_gain: np.ndarray
    solver: np.ndarray

    @property
    def rms_px(self) -> float:
        """Root mean square distance of those that counted."""
        square = np.concatenate([(r**2).sum(axis=1) for r in self.residual_px])
        weight = np.concatenate(self.weight)
        return float(np.sqrt((weight * square).sum() / weight.sum()))


def fit_pose(start: Rig, points: tuple[Points, ...]) -> PoseFit:
    """start: camera and a pose near the right one. Places of free points need to be near too."""
    rig, points = start, tuple(points)
    lam, best = 1e-4, np.inf
    inflation = 1.0
    for _ in range(ROUNDS):
        system = _System(rig, points)
        weights = system.weights(inflation)
        step = system.step(weights, lam)
        tried = _moved(rig, points, step)
        cost = _System(*tried).cost(inflation)
        best = system.cost(inflation)
        if cost <= best * (1 + 1e-12):
            rig, points = tried
            lam = max(lam / 10, 1e-9)
            inflation = _System(rig, points).inflation()
            if np.abs(step / system.scale).max() < 1e-7 or best - cost < 1e-9 * best:
                break
        else:
            lam *= 10
            if lam > 1e6:
                break
    return _System(rig, points).told()


def _moved(rig: Rig, points: tuple[Points, ...], step: np.ndarray):
    turned = replace(
        rig,
        rotation_vector=rig.rotation_vector + step[:3],
        translation_mm=rig.translation_mm + step[3:POSE],
    )
    at, out = POSE, []
    for p in points:
        out.append(replace(p, place=p.place + step[at : at + 3]) if p.free else p)
        at += 3 * p.free
    return turned, tuple(out)


class _System:
    """The equations at one pose: residuals in sigmas and their derivatives."""

    def __init__(self, rig: Rig, points: tuple[Points, ...]) -> None:
        self.rig, self.points = rig, points
        size = POSE + 3 * sum(p.free for p in points)
        rows, lens, residual, sigma, at = [], [], [], [], POSE
        for p in points:
            xyz, slope = p.on_bench()
            px, by_pose, by_lens, by_point = project(rig, xyz)
            columns = np.zeros((len(px), 2, size))
            columns[:, :, :POSE] = by_pose
            if p.free:
                columns[:, :, at : at + 3] = by_point @ slope
                at += 3
            rows.append(columns)
            lens.append(by_lens)
            residual.append(p.px - px)
            sigma.append(p.sigma_px)
        self.columns, self.by_lens = np.concatenate(rows), np.concatenate(lens)
        self.residual, self.sigma = np.concatenate(residual), np.concatenate(sigma)
        self.away = np.hypot(*self.residual.T) / (self.sigma * np.sqrt(2))
        # Rotations weigh as the millimetres they move the bench by.
        far = max(np.linalg.norm(rig.translation_mm), 1.0)
        self.scale = np.ones(size)
        self.scale[:3] = 1 / far
        at = POSE
        for p in points:
            if p.free:
                self.scale[at + 2] = 1 / far
                at += 3

    def inflation(self) -> float:
        """From the middle of all residuals, which strays do not move (Rayleigh: 0.8326)."""
        return float(max(1.0, np.median(self.away) / 0.83255))

    def weights(self, inflation: float) -> np.ndarray:
        away = self.away / inflation
        return np.where(away > HUBER, HUBER / np.maximum(away, 1e-12), 1.0)

    def cost(self, inflation: float) -> float:
        away = self.away / inflation
        plain = away <= HUBER
        return float(np.where(plain, away**2, 2 * HUBER * away - HUBER**2).sum())

    def normal(self, weights) -> tuple[np.ndarray, np.ndarray]:
        """(matrix, solver (K, 2N)) of the weighted equations, in scaled parameters."""
        columns = (self.columns * self.scale).reshape(-1, self.columns.shape[2])
        w = np.repeat(weights / self.sigma**2, 2)
        weighted = columns.T * w
        return weighted @ columns, weighted

    def step(self, weights, lam: float) -> np.ndarray:
        matrix, weighted = self.normal(weights)
        damped = matrix + lam * np.diag(np.diag(matrix))
        return self.scale * np.linalg.solve(damped, weighted @ self.residual.ravel())

    def told(self) -> PoseFit:
        inflation = self.inflation()
        weights = self.weights(inflation)
        matrix, weighted = self.normal(weights)
        solver = (self.scale[:, None] * np.linalg.solve(matrix, weighted))[:POSE]
        spread = np.repeat(self.sigma * inflation, 2) ** 2
        gain = -solver @ self.by_lens.reshape(-1, len(LENS))
        cuts = np.cumsum([len(p.px) for p in self.points])[:-1]
        return PoseFit(
            self.rig, self.points,
            tuple(np.split(self.residual, cuts)), tuple(np.split(weights, cuts)),
            inflation, (solver * spread) @ solver.T, gain, solver,
        )  # fmt: skip


def start_pose(lens: Rig, points: Points) -> Rig | None:
    """A first pose from one plane's points at their place, or None where there is none.

    The camera must be above the plane: a solution from below is a mirror image.
    """
    xyz, _ = points.on_bench()
    down = xyz - [0, 0, points.height_mm]
    rays = lens.undistort(points.px)
    known = np.isfinite(rays).all(axis=1)
    if known.sum() < 4:
        return None
    try:
        count, turns, shifts, errors = cv2.solvePnPGeneric(
            down[known], rays[known], lens.matrix, None, flags=cv2.SOLVEPNP_IPPE
        )
    except cv2.error:
        return None
    poses = []
    for k in range(count):
        turn, shift = turns[k].ravel(), shifts[k].ravel()
        rotation = cv2.Rodrigues(turn)[0]
        shift = shift - rotation @ [0, 0, points.height_mm]
        rig = replace(lens, rotation_vector=turn, translation_mm=shift)
        if np.isfinite(shift).all() and rig.camera_mm[2] > points.height_mm:
            poses.append((float(np.ravel(errors[k])[0]), rig))
    return min(poses, key=lambda pose: pose[0])[1] if poses else None
