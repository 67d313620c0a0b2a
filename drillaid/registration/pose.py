"""Where the board lies under a camera that nobody has calibrated.

The map from design to picture is not free: a camera with square pixels, its axis
near the middle of the picture, a plausible focal length and a moderate lens took
it. So the fit has the pose, the focal length and the stretch of the print, with a
prior on each of the last two; eight free numbers would bend to fit wrong pads.

The camera's true middle and its lens are not fitted (tried on photographs they
bent to follow hand-drilled holes and missed the corners by 0.7 mm); what is not
known of them is carried into the expected error instead. But people crop pictures,
and then the middle may lie anywhere: a pose that is `cropped` has it fitted, too.
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
CENTRE_SIGMA, CROPPED_SIGMA = 0.01, 0.12  # of the longer side
LENS_SIGMA = 0.02  # k1; a wide webcam has more, and then wants a rig file
NEAR_PX = 2.0  # how well a homography is known that is to be followed
# Parameters that are fitted, of an uncropped and a cropped picture, and all that are reckoned with.
POSE, CROPPED_POSE, ALL = 8, 10, 11


@dataclass(frozen=True, eq=False)
class Pose:
    """An uncalibrated camera over a design.

    parameters: rotation vector (3), translation in mm (3), log of focal length over
      FOCAL * longer side, stretch of y against x, middle (2) in px from the picture's, k1
    covariance: (11, 11), of what was fitted and what was not
    centre_mm: design point that the pose counts from; flip: x is mirrored
    cropped: the camera's middle is fitted, not held to be the picture's
    """

    parameters: np.ndarray
    covariance: np.ndarray
    size_px: tuple[int, int]
    centre_mm: np.ndarray
    flip: bool
    cropped: bool = False

    @property
    def fitted(self) -> int:
        """How many of the parameters are, from the first on."""
        return CROPPED_POSE if self.cropped else POSE

    @property
    def focal_px(self) -> float:
        return FOCAL * max(self.size_px) * float(np.exp(self.parameters[6]))

    @property
    def unstretched(self) -> Pose:
        """The same over a print that is as long in y as in x."""
        parameters = self.parameters.copy()
        parameters[7] = 0.0
        return replace(self, parameters=parameters)

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
            return np.zeros((0, 2)), np.zeros((0, 2, ALL))
        if not wanted:
            px, _ = cv2.projectPoints(board, p[:3], p[3:6], matrix, lens)
            return px.reshape(-1, 2), None
        px, full = cv2.projectPoints(board, p[:3], p[3:6], matrix, lens)
        px, full = px.reshape(-1, 2), full.reshape(len(board), 2, -1)
        # The library's columns: rotation 3, translation 3, focal 2, centre 2, lens 5.
        jacobian = np.empty((len(board), 2, ALL))
        jacobian[:, :, :6] = full[:, :, :6]
        jacobian[:, :, 6] = full[:, :, 6:8].sum(axis=2) * self.focal_px
        step = 1e-4
        other = replace(self, parameters=p + step * np.eye(ALL)[7])
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
        return np.einsum("nik,kl,nil->n", jacobian, self.covariance, jacobian)


def pose_from(
    homography: Homography, near_mm, size_px: tuple[int, int], *, flip: bool, cropped: bool = False
) -> Pose:
    """The pose that shows the points near_mm nearest to where a homography (design mm -> px)
    does, with as much trust in the usual focal length as `priors` have."""
    points = as_points(near_mm)
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
    first = Pose(parameters, np.zeros((ALL, ALL)), size_px, centre, flip, cropped)
    px = homography(points)
    if len(points) < POSE // 2 or not np.isfinite(px).all():
        return first
    # A wrong focal length turns the board: by the first guess of it alone, places at the
    # rim of a tilted board came out further off than a pad is wide.
    nearest = fit_pose(points, px, np.full(len(points), NEAR_PX), first)
    return replace(nearest, covariance=first.covariance)


def priors(pose: Pose) -> np.ndarray:
    """One over sigma of each parameter, (ALL,), zero where nothing is known."""
    middle = (CROPPED_SIGMA if pose.cropped else CENTRE_SIGMA) * max(pose.size_px)
    known = [LOG_FOCAL_SIGMA, STRETCH_SIGMA, middle, middle, LENS_SIGMA]
    return np.concatenate([np.zeros(6), 1 / np.array(known)])


def _covariance(pose: Pose, design: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """Of the fitted parameters, with what the others, held at their guess, do to them.

    With rows J for the fitted and L for the held parameters, a held error e moves
    the fit by -(J'J + P)^-1 J'L e (a "consider" covariance, as in orbit determination).
    """
    _, jacobian = pose.with_jacobian(design)
    rows = np.nan_to_num(jacobian.reshape(-1, ALL) * weight[:, None])
    n, prior = pose.fitted, priors(pose) ** 2
    fitted, held = rows[:, :n], rows[:, n:]
    inner = np.linalg.pinv(fitted.T @ fitted + np.diag(prior[:n]))
    carried = np.vstack([-inner @ fitted.T @ held, np.eye(ALL - n)])
    total = carried @ np.diag(1 / prior[n:]) @ carried.T
    total[:n, :n] += inner
    return total


def fit_pose(design_mm, px, sigma_px, start: Pose, *, rounds: int = 12) -> Pose:
    """Least squares with priors from `start`, by Levenberg's and Marquardt's method.

    design_mm, px: (N, 2); sigma_px: (N,). Raises nothing: a fit that will not
    converge comes back with the residuals it has, and is refused by them.
    """
    design, px = as_points(design_mm), as_points(px)
    weight = 1.0 / np.repeat(np.asarray(sigma_px, dtype=np.float64), 2)
    n = start.fitted
    prior = priors(start)[:n]
    pose, damping = start, 1e-3

    def cost_of(candidate: Pose) -> float:
        with np.errstate(all="ignore"):
            off = (candidate(design) - px).ravel() * weight
            total = off @ off + np.sum((prior * candidate.parameters[:n]) ** 2)
        return float(total) if np.isfinite(total) else np.inf

    cost = cost_of(pose)
    for _ in range(rounds):
        at, jacobian = pose.with_jacobian(design)
        rows = jacobian[:, :, :n].reshape(-1, n) * weight[:, None]
        off = (px - at).ravel() * weight
        if not (np.isfinite(rows).all() and np.isfinite(off).all()):
            break
        normal = rows.T @ rows + np.diag(prior**2)
        right = rows.T @ off - prior**2 * pose.parameters[:n]
        step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), right)
        moved = pose.parameters.copy()
        moved[:n] += step
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
    return replace(pose, covariance=_covariance(pose, design, weight))
