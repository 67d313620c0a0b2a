"""Camera, lens and print fitted to readings of a known pattern in one plane.

Parameters, in this order: rotation vector and translation of the plane (6), log
of the focal length, how much longer it is in v than in u (log), middle of the lens
(2, px), k1, k2, p1, p2, and of the print the stretch of y against x, and shear. A reading is one equation: how far (mm, design
frame) something known was seen from its place along a direction.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from drillaid.geometry import Affine, as_points
from drillaid.registration.edging import CELL_MM, LEFT_OUT, blocks_of, jackknife
from drillaid.registration.pose import CROPPED_SIGMA
from drillaid.rig.rig import Rig

VIEW, ALL = 14, 16
FOCAL_AT, ASPECT_AT = 6, 7
MIDDLE_AT, LENS_AT, PRINT_AT = slice(8, 10), slice(10, 14), slice(14, 16)
# One sigma of what is known beforehand of webcams, phones and home prints (common
# practice, no source). Middle: as a share of the longer side.
LOG_FOCAL_SIGMA, ASPECT_SIGMA, MIDDLE_SIGMA = 0.35, 0.0007, 0.01
LENS_SIGMA = 0.12, 0.10, 0.0007, 0.0007
PRINT_SIGMA, ETCH_SIGMA_MM = (0.004, 0.002), 0.1
# From a rough start wrong readings would bend the lens: by reach (mm), how many times tighter
# a cautious fit holds k1, and all else but pose and focal length.
CAUTION = ((0.6, 3.0, 10.0), (0.4, 2.0, 4.0), (0.25, 1.0, 2.0))
# What a patch of copper is read off by as a whole, one sigma of an axis (set on simulated
# benches; tests/registration/test_makeshift.py holds stated errors against real ones).
# Blotched or half etched copper scatters its edges, and misleads a whole patch by a share of it.
PATCH_MM, SHARED_PX, SHARED_SCATTER = 5.0, 0.07, 0.4


@dataclass(frozen=True, eq=False)
class State:
    """rig: its plane z = 0 carries the board; place: design mm -> plane mm
    known: (ALL,) the parameters' distance from what was expected beforehand
    etch_mm: edges lie this far into the copper; cropped: little is known of the lens's middle
    """

    rig: Rig
    place: Affine
    known: np.ndarray
    etch_mm: float = 0.0
    cropped: bool = False

    def to_px(self, design_mm) -> np.ndarray:
        return project(self.rig, self.place(design_mm))[0]


@dataclass(frozen=True, eq=False)
class Readings:
    """xy, normal: (M, 2) design mm; off: (M,) mm along the normal; edge: whether the etch
    moves what was read (edges of copper) or not (centres of lands)
    share: of all that should be there, what was seen within a tight tolerance
    """

    xy: np.ndarray
    normal: np.ndarray
    off: np.ndarray
    edge: bool
    share: float
    etch_mm: float = 0.0


@dataclass(frozen=True, eq=False)
class Step:
    """state: after it; moved_mm: the most by which it moves anything read;
    covariance: (ALL, ALL); scatter_mm: of one reading"""

    state: State
    moved_mm: float
    covariance: np.ndarray
    scatter_mm: float


def project(rig: Rig, plane_mm) -> tuple[np.ndarray, np.ndarray]:
    """Pixels (N, 2) of points of z = 0 and their derivatives by the view, (N, 2, VIEW)."""
    plane = as_points(plane_mm)
    points = np.column_stack([plane, np.zeros(len(plane))])
    pose = rig.rotation_vector, rig.translation_mm
    px, full = cv2.projectPoints(points, *pose, rig.matrix, rig.distortion)
    full = full.reshape(len(points), 2, -1)
    # The library's columns: rotation 3, translation 3, focal 2, middle 2, k1, k2, p1, p2 …
    columns = np.empty((len(points), 2, VIEW))
    columns[:, :, :6] = full[:, :, :6]
    across, down = full[:, :, 6] * rig.matrix[0, 0], full[:, :, 7] * rig.matrix[1, 1]
    columns[:, :, FOCAL_AT], columns[:, :, ASPECT_AT] = across + down, (down - across) / 2
    columns[:, :, 8:VIEW] = full[:, :, 8:VIEW]
    return px.reshape(-1, 2), columns


def local_scale(rig: Rig, plane_mm) -> np.ndarray:
    """d px / d plane mm at each point of z = 0, (N, 2, 2), lens included."""
    plane, step = as_points(plane_mm), 0.05
    shifts = step * np.array([[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]])
    near = (plane[None] + shifts[:, None]).reshape(-1, 2)
    px = project(rig, near)[0].reshape(4, len(plane), 2)
    return np.stack([px[0] - px[1], px[2] - px[3]], axis=2) / (2 * step)


def drift(rig: Rig, plane_mm) -> np.ndarray:
    """By what an error of each parameter moves the place that a pixel stands for, mm,
    (N, 2, ALL): with the pixel held, d x = -(d px / d x)^-1 (d px / d parameter)."""
    columns = project(rig, plane_mm)[1]
    moved = np.zeros((len(columns), 2, ALL))
    moved[:, :, :VIEW] = -np.linalg.solve(local_scale(rig, plane_mm), columns)
    return moved


def print_columns(design_mm, place: Affine) -> np.ndarray:
    """d plane / d (stretch, shear) of design points, (N, 2, 2)."""
    x, y = as_points(design_mm).T
    own = np.zeros((len(x), 2, 2))
    own[:, 0, 0], own[:, 1, 0], own[:, 0, 1] = -x / 2, y / 2, y
    return np.einsum("ij,njk->nik", place.linear, own)


def rigid_columns(plane_mm) -> np.ndarray:
    """d x / d (shift 2, turn) about the plane's origin, (N, 2, 3)."""
    plane = as_points(plane_mm)
    columns = np.zeros((len(plane), 2, 3))
    columns[:, 0, 0] = columns[:, 1, 1] = 1.0
    columns[:, 0, 2], columns[:, 1, 2] = -plane[:, 1], plane[:, 0]
    return columns


def fit_readings(
    state: State, readings: Readings, reach_mm: float, *, cautious: bool = False, rounds: int = 15
) -> Step:
    """Robust least squares (Tukey's weights) with the priors, damped after Levenberg.

    Near upright a longer lens farther up shows almost the same: undamped steps overshoot.

    cautious: the lens is set free little by little, as the reach gets short
    """
    seen = state.to_px(readings.xy + readings.off[:, None] * readings.normal)
    damping, prior = 1e-3, _priors(state.rig, state.cropped)
    if cautious:
        prior = prior * _caution(reach_mm)
    off = readings.off
    for _ in range(rounds):
        scale = float(np.clip(1.4826 * np.median(np.abs(off)), 0.008, reach_mm / 2))
        rows, weight = _rows(state, readings), _tukey(off, scale)
        sigma = max(scale, 0.01) * np.sqrt(6.0)  # neighbours share their errors
        a = rows.T @ (rows * (weight / sigma**2)[:, None]) + np.diag(prior**2)
        b = rows.T @ (off * weight / sigma**2) - prior**2 * _known(state)
        size = 1 / np.sqrt(np.maximum(np.diag(a), 1e-30))
        cost = _cost(state, off, scale, sigma, prior)
        while damping < 1e6:
            damped = a * np.outer(size, size) + damping * np.eye(len(a))
            trial = _stepped(state, size * np.linalg.solve(damped, size * b))
            trial_off = _offs(trial, readings, seen)
            trial_cost = _cost(trial, trial_off, scale, sigma, prior)
            if trial_cost <= cost:
                break
            damping *= 10.0
        else:
            break
        state, off, damping = trial, trial_off, max(damping / 10.0, 1e-9)
        if cost - trial_cost < 1e-4 * cost:
            break
    rows, weight = _rows(state, readings), _tukey(off, scale)
    moved = float(np.abs(off - readings.off).max())
    # How fine the picture is where the board lies.
    spot = state.place(readings.xy.mean(axis=0))
    px_per_mm = float(np.sqrt(abs(np.linalg.det(local_scale(state.rig, spot)[0]))))
    shared_mm = float(np.hypot(SHARED_PX / px_per_mm, SHARED_SCATTER * scale))
    covariance = _covariance(rows, off, weight, readings, prior, shared_mm)
    return Step(state, moved, covariance, scale)


def _tukey(off: np.ndarray, scale: float) -> np.ndarray:
    ratio = off / (4.0 * scale)
    return np.where(np.abs(ratio) < 1, (1 - ratio**2) ** 2, 0.0)


def _known(state: State) -> np.ndarray:
    return np.append(state.known, state.etch_mm)


def _cost(state: State, off, scale: float, sigma: float, prior) -> float:
    """Half the sum of Tukey's function of the residuals and of the priors' squares."""
    if not np.isfinite(off).all():
        return np.inf
    limit = 4.0 * scale
    ratio = np.minimum((off / limit) ** 2, 1.0)
    seen = float((1 - (1 - ratio) ** 3).sum()) * limit**2 / (6 * sigma**2)
    return seen + 0.5 * float(((prior * _known(state)) ** 2).sum())


def _offs(state: State, readings: Readings, seen: np.ndarray) -> np.ndarray:
    """(M,) mm along the normals from where `state` has the readings to where they were seen."""
    plane = state.place(readings.xy)
    with np.errstate(all="ignore"):
        px = project(state.rig, plane)[0]
        off = np.linalg.solve(local_scale(state.rig, plane), (seen - px)[:, :, None])[:, :, 0]
    normal = readings.normal @ np.linalg.inv(state.place.linear)
    etch = state.etch_mm - readings.etch_mm if readings.edge else 0.0
    return np.einsum("ni,ni->n", normal, off) - etch


def _rows(state: State, readings: Readings) -> np.ndarray:
    """d off / d (parameters, etch), mm along the normal, (M, ALL + 1)."""
    place = state.place
    field = -drift(state.rig, place(readings.xy))  # the point moves, what was seen stays
    field[:, :, PRINT_AT] = print_columns(readings.xy, place)
    normal = readings.normal @ np.linalg.inv(place.linear)
    etch = np.full(len(normal), 1.0 if readings.edge else 0.0)
    return np.column_stack([np.einsum("ni,nik->nk", normal, field), etch])


def _priors(rig: Rig, cropped: bool) -> np.ndarray:
    """One over sigma of what was known beforehand, (ALL + 1,), etch last; 0: nothing."""
    middle = (CROPPED_SIGMA if cropped else MIDDLE_SIGMA) * max(rig.width, rig.height)
    known = [LOG_FOCAL_SIGMA, ASPECT_SIGMA, middle, middle, *LENS_SIGMA, *PRINT_SIGMA, ETCH_SIGMA_MM]
    return np.concatenate([np.zeros(6), 1 / np.array(known)])


def _caution(reach_mm: float) -> np.ndarray:
    """(ALL + 1,): how many times tighter than usual each parameter is held."""
    bend, rest = next((c[1:] for c in CAUTION if reach_mm > c[0]), (1.0, 1.0))
    times = np.ones(ALL + 1)
    times[ASPECT_AT:ALL], times[LENS_AT.start] = rest, bend
    return times


def _covariance(
    rows, residual, weight, readings: Readings, prior, shared_mm: float
) -> np.ndarray:
    """Sandwich clustered by cells, as in `edging`, with the priors as further readings.

    Whole patches of copper are read beside their place alike (blur, light, texture), which
    the scatter does not show: a shift of so many pixels for each patch comes on top. And a lens
    is never quite what its four terms make of it, nor a board quite flat: what leaving out a
    part of the board changes comes on top, too (between photographs of one board, corners beyond
    its copper were 0.2 to 0.3 mm apart where 0.03 was stated without).
    """
    typical = max(1.4826 * np.median(np.abs(residual)), 0.008) * np.sqrt(6.0)
    penalty = np.diag(prior**2) * typical**2
    normal = rows.T @ (rows * weight[:, None]) + penalty
    size = 1 / np.sqrt(np.maximum(np.diag(normal), 1e-30))
    outer = np.outer(size, size)
    inner = np.linalg.pinv(normal * outer, hermitian=True) * outer
    astray = jackknife(_left_out(rows, residual, weight, readings.xy, normal))
    group = _groups(readings.xy, CELL_MM)
    sums = np.zeros((group.max() + 1, ALL + 1))
    np.add.at(sums, group, rows * (weight * residual)[:, None])
    meat = sums.T @ sums * (len(sums) / max(len(sums) - ALL - 1, 1)) + penalty * typical**2
    meat += _patches(rows * weight[:, None], readings) * shared_mm**2
    return (inner @ meat @ inner + astray)[:ALL, :ALL]


def _left_out(rows, residual, weight, xy: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """(LEFT_OUT, ALL + 1): by what the parameters change without each part of the board.

    normal: of all readings, with what was known beforehand
    """
    block = blocks_of(xy, LEFT_OUT)
    changes = np.zeros((LEFT_OUT, rows.shape[1]))
    for k in range(LEFT_OUT):
        without = normal - rows[block == k].T @ (rows[block == k] * weight[block == k, None])
        rest = block != k
        size = 1 / np.sqrt(np.maximum(np.diag(without), 1e-30))
        inner = np.linalg.pinv(without * np.outer(size, size), hermitian=True)
        changes[k] = size * (inner @ (size * (rows[rest].T @ (weight[rest] * residual[rest]))))
    return changes


def _groups(xy: np.ndarray, cell_mm: float) -> np.ndarray:
    cell = np.floor(xy / cell_mm).astype(np.int64)
    return np.unique(cell[:, 0] * 100_003 + cell[:, 1], return_inverse=True)[1].ravel()


def _patches(weighted_rows: np.ndarray, readings: Readings) -> np.ndarray:
    """Sum over patches of S S', S = sum of w row n': the scores of a unit shift of each."""
    group = _groups(readings.xy, PATCH_MM)
    shifted = np.zeros((group.max() + 1, weighted_rows.shape[1], 2))
    np.add.at(shifted, group, weighted_rows[:, :, None] * readings.normal[:, None, :])
    return np.einsum("gik,gjk->ij", shifted, shifted)


def _stepped(state: State, step: np.ndarray) -> State:
    rig, place = state.rig, state.place
    matrix, lens = rig.matrix.copy(), rig.distortion.copy()
    grow = float(np.clip(step[FOCAL_AT], -0.3, 0.3))
    aspect = float(step[ASPECT_AT])
    matrix[[0, 1], [0, 1]] *= np.exp([grow - aspect / 2, grow + aspect / 2])
    matrix[:2, 2] += step[MIDDLE_AT]
    lens[:4] += step[LENS_AT]
    rig = replace(
        rig, matrix=matrix, distortion=lens, rotation_vector=rig.rotation_vector + step[:3],
        translation_mm=rig.translation_mm + step[3:6],
    )  # fmt: skip
    stretch, shear = step[PRINT_AT]
    own = np.array([[1 - stretch / 2, shear], [0.0, 1 + stretch / 2]])
    place = Affine(np.column_stack([place.linear @ own, place.offset]))
    known = state.known + np.concatenate([np.zeros(6), [grow], step[ASPECT_AT:ALL]])
    return replace(
        state, rig=rig, place=place, known=known, etch_mm=state.etch_mm + float(step[ALL])
    )
