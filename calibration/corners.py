"""Corners of a chessboard to a small part of a pixel, each with its expected error.

Around a corner the picture is fitted by the model

    I(q) = a + g . q + b erf(d1 / (s sqrt 2)) erf(d2 / (s sqrt 2))

where d1, d2 are the distances of pixel q from the two edges' lines through the
corner and s is the blur. Ordinary least squares by Gauss-Newton, all corners at
once. The window follows the size of the squares in the picture: one that is too
wide takes in what is not the corner and ruins a view.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from scipy.special import erf

# px. Of what the model leaves out (pixels are squares, lines bend, paper is rough);
# found by drawn truth, see tests/calibration/test_corners.py.
FLOOR_PX = 0.012
HALF_WINDOW = (2.5, 12.0)  # px, smallest and largest
STEPS = 12
_U, _V, _ONE, _TWO, _A, _B, _S, _GU, _GV = range(9)


@dataclass(frozen=True, eq=False)
class Corners:
    """All arrays of length N; rows whose `good` is False carry the last guess.

    px: (N, 2); sigma_px: one sigma along either axis; blur_px: sigma of the edges'
    blur; contrast: half the step from ink to paper, grey levels, negative where the
    quadrant along (+x, +y) of the pattern is darker
    """

    px: np.ndarray
    sigma_px: np.ndarray
    blur_px: np.ndarray
    contrast: np.ndarray
    good: np.ndarray


def refine_corners(grey: np.ndarray, guess_px, along_x, along_y, half_px, reach_px=None) -> Corners:
    """Fits every corner of a uint8 picture.

    guess_px: (N, 2), right to about half of half_px
    along_x, along_y: (N, 2) directions of the pattern's axes in the picture
    half_px: (N,) half side of the square window, held to HALF_WINDOW
    reach_px: (N,) how far the answer may lie from the guess (half_px)
    """
    guess = np.asarray(guess_px, float).reshape(-1, 2)
    half = np.clip(np.broadcast_to(half_px, len(guess)), *HALF_WINDOW)
    reach = half if reach_px is None else np.broadcast_to(reach_px, len(guess))
    x, y = np.asarray(along_x, float), np.asarray(along_y, float)
    result = np.full((len(guess), 9), np.nan)
    result[:, _U], result[:, _V] = guess.T
    sigma = np.full(len(guess), np.inf)
    height, width = grey.shape
    side = np.rint(half).astype(int)
    inside = (
        (guess - side[:, None] >= 1) & (guess + side[:, None] <= [width - 2, height - 2])
    ).all(1)
    for size in np.unique(side[inside]):  # one batch for each size of window
        rows = np.flatnonzero(inside & (side == size))
        result[rows], sigma[rows] = _fit_batch(grey, guess[rows], x[rows], y[rows], int(size))
    moved = np.hypot(*(result[:, :2] - guess).T)
    contrast, blur = -result[:, _B], np.abs(result[:, _S])
    with np.errstate(invalid="ignore"):
        good = np.isfinite(sigma) & (moved <= reach) & (np.abs(contrast) > 6) & (blur < half)
        good &= sigma < 0.25 * half
    return Corners(result[:, :2], np.hypot(sigma, FLOOR_PX), blur, contrast, good)


def _fit_batch(grey, guess, along_x, along_y, half: int) -> tuple[np.ndarray, np.ndarray]:
    """((n, 9) parameters, (n,) sigma in px) for windows of one size."""
    count = len(guess)
    base = np.rint(guess).astype(int)
    offset = np.arange(-half, half + 1)
    dv, du = (part.ravel() for part in np.meshgrid(offset, offset, indexing="ij"))
    values = grey[base[:, 1:] + dv, base[:, :1] + du].astype(float)
    state = np.zeros((count, 9))
    state[:, :2] = guess - base
    state[:, _ONE] = np.arctan2(along_x[:, 1], along_x[:, 0])
    state[:, _TWO] = np.arctan2(along_y[:, 1], along_y[:, 0])
    state[:, _S] = 1.0
    state[:, _A] = values.mean(axis=1)
    shape = _unit(state, du, dv)
    state[:, _B] = ((values - state[:, _A : _A + 1]) * shape).sum(1) / (shape**2).sum(1)
    best = _converged(state, values, du, dv, half)
    return _judged(best, base, values, du, dv)


def _converged(state, values, du, dv, half: int) -> np.ndarray:
    """Levenberg-Marquardt on every corner; those that have settled are left alone."""
    best, cost = state.copy(), np.full(len(state), np.inf)
    damping, live = np.full(len(state), 1e-3), np.arange(len(state))
    for _ in range(STEPS):
        model, slopes = _model(state, du, dv)
        off = values[live] - model
        now = (off**2).sum(1)
        better = now <= cost[live]
        best[live[better]] = state[better]
        cost[live] = np.minimum(now, cost[live])
        damping[live] = np.where(better, damping[live] * 0.3, damping[live] * 10).clip(1e-9, 1e6)
        if not better.all():  # begin again from the best of those that got worse
            model, slopes = _model(best[live], du, dv)
            off = values[live] - model
        turned = slopes.transpose(0, 2, 1)
        normal = turned @ slopes
        diagonal = np.einsum("nii->ni", normal)
        step = _solved(
            normal, (turned @ off[:, :, None])[:, :, 0], damping[live, None] * diagonal + 1e-12
        )
        step[:, _ONE : _TWO + 1] = step[:, _ONE : _TWO + 1].clip(-0.3, 0.3)
        step[:, :2] = step[:, :2].clip(-half / 2, half / 2)
        state = best[live] + step
        state[:, _S] = np.abs(state[:, _S]).clip(0.25, 2.0 * half)
        going = np.abs(step[:, :2]).max(axis=1) >= 1e-4
        state, live = state[going], live[going]
        if not len(live):
            break
    return best


def _judged(state, base, values, du, dv) -> tuple[np.ndarray, np.ndarray]:
    model, slopes = _model(state, du, dv)
    variance = ((values - model) ** 2).sum(1) / (values.shape[1] - 9)
    normal = slopes.transpose(0, 2, 1) @ slopes
    normal += 1e-9 * np.einsum("nii->ni", normal).max(1)[:, None, None] * np.eye(9)
    with np.errstate(all="ignore"):
        try:
            covariance = np.linalg.inv(normal)
        except np.linalg.LinAlgError:
            covariance = np.stack([np.linalg.pinv(one) for one in normal])
        sigma = np.sqrt(variance * (covariance[:, 0, 0] + covariance[:, 1, 1]) / 2)
    out = state.copy()
    out[:, :2] += base
    return out, sigma


def _solved(normal, right, extra) -> np.ndarray:
    damped = normal + extra[:, :, None] * np.eye(9)
    try:
        return np.linalg.solve(damped, right[:, :, None])[:, :, 0]
    except np.linalg.LinAlgError:
        return np.zeros_like(right)


def _edges(state, du, dv):
    """Distances from both lines and their directions; all (n, pixels) or (n, 1)."""
    u, v = du - state[:, _U : _U + 1], dv - state[:, _V : _V + 1]
    parts = []
    for which in (_ONE, _TWO):
        c, s = np.cos(state[:, which : which + 1]), np.sin(state[:, which : which + 1])
        parts.append((c * v - s * u, c * u + s * v, c, s))
    return parts


def _unit(state, du, dv) -> np.ndarray:
    (d1, *_), (d2, *_) = _edges(state, du, dv)
    s = state[:, _S : _S + 1] * np.sqrt(2)
    return erf(d1 / s) * erf(d2 / s)


def _model(state, du, dv) -> tuple[np.ndarray, np.ndarray]:
    """Values (n, pixels) and their derivatives (n, pixels, 9)."""
    (d1, l1, c1, s1), (d2, l2, c2, s2) = _edges(state, du, dv)
    blur = state[:, _S : _S + 1]
    e1, e2 = erf(d1 / (blur * np.sqrt(2))), erf(d2 / (blur * np.sqrt(2)))
    b = state[:, _B : _B + 1]
    plane = state[:, _A : _A + 1] + state[:, _GU : _GU + 1] * du + state[:, _GV : _GV + 1] * dv
    model = plane + b * e1 * e2
    k = np.sqrt(2 / np.pi) / blur
    p1, p2 = k * np.exp(-0.5 * (d1 / blur) ** 2), k * np.exp(-0.5 * (d2 / blur) ** 2)
    f1, f2 = b * p1 * e2, b * p2 * e1  # d model / d d1, d d2
    out = np.empty((*model.shape, 9))
    out[..., _U] = f1 * s1 + f2 * s2  # d = c v - s u, and u = du - U
    out[..., _V] = -(f1 * c1 + f2 * c2)
    out[..., _ONE], out[..., _TWO] = -f1 * l1, -f2 * l2
    out[..., _A], out[..., _B] = 1.0, e1 * e2
    out[..., _S] = -(f1 * d1 + f2 * d2) / blur
    out[..., _GU], out[..., _GV] = (
        np.broadcast_to(du, model.shape),
        np.broadcast_to(dv, model.shape),
    )
    return model, out


def grey_of(image: np.ndarray) -> np.ndarray:
    """uint8 (H, W) of a BGR or grey picture."""
    return image if image.ndim == 2 else cv2.cvtColor(image, cv2.COLOR_BGR2GRAY)
