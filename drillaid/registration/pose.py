"""Where the board lies under a camera that nobody has calibrated.

The map from design to picture is not free: a camera with square pixels, its axis
near the middle of the picture, a plausible focal length and a moderate lens took
it. So the unknowns are the pose, the focal length, the middle, one term of lens
distortion and the stretch of the print, each with a prior given as one more
residual; eight free numbers would bend to fit wrong pads.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from drillaid.geometry import Homography, as_points
from drillaid.registration.directions import FOCAL

# One sigma of what is not known beforehand about a phone or a webcam.
LOG_FOCAL_SIGMA = 0.35  # a cropped picture acts like a longer lens
STRETCH_SIGMA = 0.006  # print scale in x against y
CENTRE_SIGMA = 0.02  # of the longer side
LENS_SIGMA = 0.08  # k1
POSE, LENS = 8, 11  # parameters of the plain and of the full model


@dataclass(frozen=True, eq=False)
class Pose:
    """An uncalibrated camera over a design.

    parameters: rotation vector (3), translation in mm (3), log of focal length over
      FOCAL * longer side, stretch of y against x, middle (2) in px from the picture's, k1
    covariance: (p, p) of the first p that were fitted
    centre_mm: design point that the pose counts from; flip: x is mirrored
    """

    parameters: np.ndarray
    covariance: np.ndarray
    size_px: tuple[int, int]
    centre_mm: np.ndarray
    flip: bool

    @property
    def focal_px(self) -> float:
        return FOCAL * max(self.size_px) * float(np.exp(self.parameters[6]))

    def _camera(self) -> tuple[np.ndarray, np.ndarray]:
        p, (width, height), f = self.parameters, self.size_px, self.focal_px
        matrix = np.array(
            [[f, 0, (width - 1) / 2 + p[8]], [0, f, (height - 1) / 2 + p[9]], [0, 0, 1.0]]
        )
        return matrix, np.array([p[10], 0.0, 0.0, 0.0, 0.0])

    def _board(self, design_mm) -> np.ndarray:
        xy = as_points(design_mm) - self.centre_mm
        half = self.parameters[7] / 2
        xy = xy * [(-1.0 if self.flip else 1.0) * (1 - half), 1 + half]
        return np.column_stack([xy, np.zeros(len(xy))])

    def __call__(self, design_mm) -> np.ndarray:
        """Design mm (N, 2) -> pixels as photographed (N, 2), lens included."""
        return self.with_jacobian(design_mm, wanted=False)[0]

    def with_jacobian(self, design_mm, wanted: bool = True):
        """Pixels (N, 2) and their derivatives by the parameters (N, 2, 11)."""
        p = self.parameters
        matrix, lens = self._camera()
        board = self._board(design_mm)
        if not len(board):
            return np.zeros((0, 2)), np.zeros((0, 2, LENS))
        if not wanted:
            px, _ = cv2.projectPoints(board, p[:3], p[3:6], matrix, lens)
            return px.reshape(-1, 2), None
        px, full = cv2.projectPoints(board, p[:3], p[3:6], matrix, lens)
        px, full = px.reshape(-1, 2), full.reshape(len(board), 2, -1)
        # The library's columns: rotation 3, translation 3, focal 2, centre 2, lens 5.
        jacobian = np.empty((len(board), 2, LENS))
        jacobian[:, :, :6] = full[:, :, :6]
        jacobian[:, :, 6] = full[:, :, 6:8].sum(axis=2) * self.focal_px
        step = 1e-4
        other = replace(self, parameters=p + step * np.eye(LENS)[7])
        jacobian[:, :, 7] = (other(design_mm) - px) / step
        jacobian[:, :, 8:10] = full[:, :, 8:10]
        jacobian[:, :, 10] = full[:, :, 10]
        return px, jacobian

    @property
    def homography(self) -> Homography:
        """Design mm -> px without the lens terms."""
        matrix, _ = self._camera()
        rotation = cv2.Rodrigues(self.parameters[:3])[0]
        half = self.parameters[7] / 2
        grow = np.diag([(-1.0 if self.flip else 1.0) * (1 - half), 1 + half, 1.0])
        shift = np.array([[1, 0, -self.centre_mm[0]], [0, 1, -self.centre_mm[1]], [0, 0, 1.0]])
        columns = np.column_stack([rotation[:, 0], rotation[:, 1], self.parameters[3:6]])
        return Homography.scaled_for(matrix @ columns @ grow @ shift, [self.centre_mm])

    def variance_px2(self, design_mm) -> np.ndarray:
        """Variance of the mapped place, both axes together, px^2, shape (N,)."""
        _, jacobian = self.with_jacobian(design_mm)
        used = jacobian[:, :, : len(self.covariance)]
        return np.einsum("nik,kl,nil->n", used, self.covariance, used)


def pose_from(homography: Homography, near_mm, size_px: tuple[int, int], *, flip: bool) -> Pose:
    """The pose nearest to a homography (design mm -> px) round the points near_mm."""
    centre = as_points(near_mm).mean(axis=0)
    shift = np.array([[1, 0, centre[0]], [0, 1, centre[1]], [0, 0, 1.0]])
    width, height = size_px
    focal = FOCAL * max(size_px)
    camera = np.array([[focal, 0, (width - 1) / 2], [0, focal, (height - 1) / 2], [0, 0, 1.0]])
    b = np.linalg.inv(camera) @ homography.matrix @ shift
    b = b / np.sqrt(np.linalg.norm(b[:, 0]) * np.linalg.norm(b[:, 1]))
    b = -b if b[2, 2] < 0 else b
    x = -b[:, 0] if flip else b[:, 0]
    u, _, vt = np.linalg.svd(np.column_stack([x, b[:, 1], np.cross(x, b[:, 1])]))
    rotation = u @ np.diag([1, 1, np.linalg.det(u @ vt)]) @ vt
    parameters = np.concatenate([cv2.Rodrigues(rotation)[0].ravel(), b[:, 2], np.zeros(5)])
    return Pose(parameters, np.zeros((POSE, POSE)), size_px, centre, flip)


def fit_pose(design_mm, px, sigma_px, start: Pose, *, free: int = POSE, rounds: int = 12) -> Pose:
    """Least squares with priors from `start`; free: POSE or LENS, how many numbers to fit.

    Levenberg-Marquardt; raises nothing: a fit that will not converge comes back
    with the residuals it has, and is refused by them.
    """
    design, px = as_points(design_mm), as_points(px)
    weight = 1.0 / np.repeat(np.asarray(sigma_px, dtype=np.float64), 2)
    prior = np.zeros(LENS)
    middle = CENTRE_SIGMA * max(start.size_px)
    prior[6:] = 1 / np.array([LOG_FOCAL_SIGMA, STRETCH_SIGMA, middle, middle, LENS_SIGMA])
    prior = prior[:free]
    pose, damping = start, 1e-3

    def cost_of(candidate: Pose) -> float:
        with np.errstate(all="ignore"):
            off = (candidate(design) - px).ravel() * weight
            total = off @ off + np.sum((prior * candidate.parameters[:free]) ** 2)
        return float(total) if np.isfinite(total) else np.inf

    cost = cost_of(pose)
    for _ in range(rounds):
        at, jacobian = pose.with_jacobian(design)
        rows = jacobian[:, :, :free].reshape(-1, free) * weight[:, None]
        off = (px - at).ravel() * weight
        if not (np.isfinite(rows).all() and np.isfinite(off).all()):
            break
        normal = rows.T @ rows + np.diag(prior**2)
        right = rows.T @ off - prior**2 * pose.parameters[:free]
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), right)
        moved = pose.parameters.copy()
        moved[:free] += step
        trial = replace(pose, parameters=moved)
        trial_cost = cost_of(trial)
        if trial_cost < cost:
            done = cost - trial_cost < 1e-6 * cost
            pose, cost, damping = trial, trial_cost, damping * 0.2
            if done:
                break
        else:
            damping *= 10.0
            if damping > 1e6:
                break
    _, jacobian = pose.with_jacobian(design)
    rows = np.nan_to_num(jacobian[:, :, :free].reshape(-1, free) * weight[:, None])
    return replace(pose, covariance=np.linalg.pinv(rows.T @ rows + np.diag(prior**2)))
