"""Whether a sheet lies flat, from what a plane leaves over of its corners.

A corner lifted by dz is seen shifted away from the point under the camera by dz r/Z,
r its distance from there. So a curl shows without a second view, the more the
farther out; under the camera it is not seen and does no harm. A sheet that lies on
something as a whole, still flat, is another plane and not to be told from one
picture: `bench_plane` compares several.

To the residuals of the pose are fitted, together with small changes of the pose, a
surface of second order for each sheet, and the sheets' stretch and shear.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from calibration.pose_fit import POSE, PoseFit
from drillaid.rig.doubt import LENS, project

REFUSED_MM, TOLD_MM = 0.2, 0.1
SIGMAS = 3.0
BOW = 3  # xx, xy, yy


@dataclass(frozen=True)
class Flatness:
    """bow_mm: from the lowest to the highest point of the surface, the worst sheet;
    sigma_mm: of that; stretch: how much longer the print is across than down, a share;
    stretch_sigma: of that
    """

    bow_mm: float
    sigma_mm: float
    stretch: float
    stretch_sigma: float

    @property
    def too_much(self) -> bool:
        return self.bow_mm > max(REFUSED_MM, SIGMAS * self.sigma_mm)

    @property
    def worth_telling(self) -> bool:
        return self.bow_mm > max(TOLD_MM, SIGMAS * self.sigma_mm)


def measure_flatness(fit: PoseFit, sheets: int, lens: np.ndarray) -> Flatness:
    """fit: its first `sheets` points are sheets; lens: (9, 9) covariance of the lens."""
    size = POSE + 3 * sum(p.free for p in fit.points) + BOW * sheets + 2
    columns, by_lens, residual, weight, surfaces = [], [], [], [], []
    at, bow_at = POSE, size - 2 - BOW * sheets
    for k, p in enumerate(fit.points):
        xyz, slope = p.on_bench()
        _, by_pose, lens_columns, by_point = project(fit.rig, xyz)
        own = np.zeros((len(xyz), 2, size))
        own[:, :, :POSE] = by_pose
        if p.free:
            own[:, :, at : at + 3] = by_point @ slope
            at += 3
        if k < sheets:
            surface = _surface(p.mm)
            surfaces.append(surface)
            own[:, :, bow_at : bow_at + BOW] = by_point[:, :, 2:] * surface[:, None, :]
            bow_at += BOW
            own[:, :, -2:] = by_point[:, :, :2] @ _stretched(p)
        columns.append(own)
        by_lens.append(lens_columns)
        residual.append(fit.residual_px[k])
        weight.append(fit.weight[k] / (p.sigma_px * fit.inflation) ** 2)
    solution, covariance = _solve(
        np.concatenate(columns), np.concatenate(by_lens), np.concatenate(residual),
        np.concatenate(weight), lens,
    )  # fmt: skip
    worst = (0.0, 0.0)
    for k, surface in enumerate(surfaces):
        mine = slice(size - 2 - BOW * (sheets - k), size - 2 - BOW * (sheets - k) + BOW)
        height = surface @ solution[mine]
        low, high = int(np.argmin(height)), int(np.argmax(height))
        across = surface[high] - surface[low]
        sigma = float(np.sqrt(across @ covariance[mine, mine] @ across))
        worst = max(worst, (float(height[high] - height[low]), sigma))
    return Flatness(*worst, float(solution[-2]), float(np.sqrt(covariance[-2, -2])))


def _surface(mm: np.ndarray) -> np.ndarray:
    """(N, 3) xx, xy, yy of the sheet, each 1 at its edge, less its best plane."""
    half = np.maximum(np.ptp(mm, axis=0) / 2, 1e-6)
    x, y = ((mm - mm.mean(axis=0)) / half).T
    second = np.column_stack([x * x, x * y, y * y])
    plane = np.column_stack([np.ones_like(x), x, y])
    return second - plane @ np.linalg.lstsq(plane, second, rcond=None)[0]


def _stretched(p) -> np.ndarray:
    """d bench xy / d (stretch, shear) of a sheet's points, (N, 2, 2)."""
    x, y = p.mm.T
    own = np.zeros((len(x), 2, 2))
    own[:, 0, 0], own[:, 1, 0] = x / 2, -y / 2
    own[:, 0, 1], own[:, 1, 1] = y / 2, x / 2
    c, s = np.cos(p.place[2]), np.sin(p.place[2])
    return np.array([[c, -s], [s, c]]) @ own


def _solve(columns, by_lens, residual, weight, lens):
    """(solution, covariance), the lens's own errors included."""
    flat = columns.reshape(-1, columns.shape[2])
    scale = 1 / np.maximum(np.linalg.norm(flat, axis=0), 1e-300)
    w = np.repeat(weight, 2)
    weighted = (flat * scale).T * w
    back = np.linalg.pinv(weighted @ (flat * scale), rcond=1e-10, hermitian=True)
    solver = scale[:, None] * (back @ weighted)
    gain = solver @ by_lens.reshape(-1, len(LENS))
    covariance = scale[:, None] * back * scale + gain @ lens @ gain.T
    return solver @ residual.ravel(), covariance
