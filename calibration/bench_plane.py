"""The bench plane from pictures of the pattern lying on it.

The bench frame is laid down by the sheet in the first picture: the origin is the
middle of its squares, x runs along its printed rows, y away from the operator, z = 0
is the bench under the sheet. Which side the operator stands at is read off the
sheet, whose upper edge lies away from him, or told (`operator_at`). Where the marks
of an earlier calibration are seen, its frame is kept instead (`known`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.flatness import Flatness, measure_flatness
from calibration.pose_fit import Points, PoseFit, fit_pose, start_pose
from calibration.rig_draft import LensPart
from drillaid.geometry import as_points
from drillaid.rig.doubt import RigDoubt, lens_covariance, project
from drillaid.rig.rig import Rig

SIDES = {"bottom": (0.0, 1.0), "top": (0.0, -1.0), "left": (-1.0, 0.0), "right": (1.0, 0.0)}
# Of the sheet's size: a bar of 100 mm read by callipers to 0.03 mm (0.02 their own, 0.02 the
# reading); a printer nobody has measured (common practice, no source).
MEASURED_SHARE, PRINTED_SHARE = 0.0003, 0.003
# px of a picture 1920 px wide. Corners that lie so far off were seen through another lens.
WORST_RMS_PX = 0.5
WORST_TILT_MM = 0.15  # of the sheet in one picture against that in the others
WORST_SIGMA_MM = 1.0
STILL_THERE = 0.6  # of the corners must count


@dataclass(frozen=True, eq=False)
class BenchPlane:
    """What was found; `reason` is None, or why it must not be used.

    fit: pose and residuals; covariance (6, 6) and lens_gain (6, 9) include the sheet's scale
    flatness: of the sheet; rms_mm: of the residuals, on the plane
    sigma_mm: (N,) one sigma of the distance at pixels spread over the picture, z = 0
    aside: (N,) mm sideways for each mm of wrong thickness at the same pixels
    kept_frame: whether an earlier frame was kept
    """

    fit: PoseFit
    covariance: np.ndarray
    flatness: Flatness | None
    rms_mm: float
    sigma_mm: np.ndarray
    aside: np.ndarray
    kept_frame: bool
    reason: str | None = None

    @property
    def rig(self) -> Rig:
        return self.fit.rig


def sheet_points(view, sheet_mm: float, stretch: float = 0.0) -> Points:
    """The corners of a `calibration.views.PatternView` as a sheet that lies at the origin.

    stretch: the print is longer down by this share than its squares are wide
    """
    across, down = view.pattern.size_mm
    mm = as_points(view.corners_mm)
    lying = np.column_stack([mm[:, 0] - across / 2, (down / 2 - mm[:, 1]) * (1 + stretch)])
    return Points(view.corners_px, view.sigma_px, lying, sheet_mm, np.zeros(3), free=False)


def fit_bench(
    lens: LensPart,
    views: Sequence,
    *,
    sheet_mm: float = 0.0,
    scale_share: float = MEASURED_SHARE,
    stretch: tuple[float, float] = (0.0, 0.0),
    operator_at: str | None = None,
    known: Sequence[Points] = (),
    start: Rig | None = None,
    known_doubt: tuple[np.ndarray, np.ndarray] | None = None,
) -> BenchPlane | str:
    """views: one `PatternView` for each picture, of the camera at rest, the sheet lying flat
    anywhere in each; may be empty where marks are known

    sheet_mm: height of the printed face over the bench; scale_share: one sigma of the
      sheet's size as a share of it
    stretch: by which share the print is longer down than across, and one sigma of that
    operator_at: the side of the picture (SIDES) at which the operator stands
    known: points at known places of the frame to be kept, and start: a pose near the right
      one then; known_doubt: covariance (6, 6) and gain (6, 9) of the pose they were measured
      with, in the rig `start` was made from (see `calibration.repair`)
    A str says why there is no answer at all.
    """
    sheets = [sheet_points(view, sheet_mm, stretch[0]) for view in views]
    blank = lens.rig(np.zeros(3), np.array([0.0, 0.0, 1.0]))
    poses = [start_pose(blank, sheet) for sheet in sheets]
    if any(pose is None for pose in poses):
        return "the corners are not those of a sheet seen from above"
    if known:
        rig, free = start, range(len(sheets))
    else:
        place = np.array(
            [0.0, 0.0, _turn(poses[0], sheets[0], operator_at, views[0].pattern.coded)]
        )
        sheets[0] = replace(sheets[0], place=place)
        rig, free = start_pose(blank, sheets[0]), range(1, len(sheets))
    for k in free:
        sheets[k] = replace(sheets[k], place=_place_in(rig, poses[k]), free=True)
    fit = fit_pose(rig, (*sheets, *known))
    covariance, gain = _all_doubts(fit, len(sheets), (scale_share, stretch[1]), known_doubt)
    fit = replace(fit, lens_gain=gain)
    lens_cov = lens_covariance(lens.section)
    doubt = RigDoubt(
        np.zeros((9, 9)) if lens_cov is None else lens_cov, covariance, gain, frozenset()
    )
    flat = measure_flatness(fit, len(sheets), doubt.lens) if sheets else None
    field = field_mm(fit.rig)
    found = BenchPlane(
        fit,
        covariance,
        flat,
        _rms_mm(fit),
        doubt.sigma_mm(fit.rig, field) if len(field) else np.array([math.inf]),
        aside(fit.rig, field),
        bool(known),
    )
    return replace(found, reason=_reason(found, sheets, blank))


def field_mm(rig: Rig) -> np.ndarray:
    """(N, 2) bench mm on z = 0 under pixels spread evenly over the picture, corners included."""
    u, v = np.linspace(0, rig.width - 1, 9), np.linspace(0, rig.height - 1, 7)
    field = rig.to_bench(np.stack(np.meshgrid(u, v), axis=-1).reshape(-1, 2), 0.0)
    return field[np.isfinite(field).all(axis=1)]


def aside(rig: Rig, xy_mm) -> np.ndarray:
    """(N,) by how much a place comes out wrong for each mm of wrong thickness, mm per mm."""
    x, y, z = rig.camera_mm
    return np.hypot(*(as_points(xy_mm) - [x, y]).T) / z


# --- the frame ------------------------------------------------------------------------


def _turn(pose: Rig, sheet: Points, operator_at: str | None, coded: bool) -> float:
    """By how many quarters the sheet is turned in the bench frame, rad."""
    if operator_at is None:
        if coded:
            return 0.0
        operator_at = "bottom"  # a chessboard has no upper edge
    middle = sheet.mm.mean(axis=0)
    steps = middle + 5.0 * np.array([[0, 0], [0, -1], [-1, 0], [0, 1], [1, 0]])
    at = pose.to_pixels(steps, sheet.height_mm)
    ways = (at[1:] - at[0]) / np.linalg.norm(at[1:] - at[0], axis=1)[:, None]
    # The sheet's direction that points to the operator must become the bench's -y.
    quarter = int(np.argmax(ways @ np.array(SIDES[operator_at])))
    return (0.0, math.pi / 2, math.pi, -math.pi / 2)[quarter]


def _place_in(rig: Rig, pose: Rig) -> np.ndarray:
    """Where a sheet, from which `pose` was seen, lies in the frame of `rig`; both one camera."""
    across = rig.rotation.T @ pose.rotation
    origin = rig.rotation.T @ (pose.translation_mm - rig.translation_mm)
    return np.array([origin[0], origin[1], math.atan2(across[1, 0], across[0, 0])])


# --- how sure -------------------------------------------------------------------------


def _all_doubts(fit: PoseFit, sheets: int, shares: tuple[float, float], known_doubt):
    """(covariance, lens gain) with the sheet's size and stretch (shares: one sigma of each)
    and, of a kept frame, its own doubt."""
    covariance, gain = fit.covariance, fit.lens_gain
    for share, grown in zip(shares, ((1.0, 1.0), (0.0, 1.0)), strict=True):
        moved = []  # px, by one share
        for k, p in enumerate(fit.points):
            by_point = project(fit.rig, p.on_bench()[0])[3]
            c, s = np.cos(p.place[2]), np.sin(p.place[2])
            about = (p.mm * grown) @ np.array([[c, s], [-s, c]])
            about = np.column_stack([about, np.zeros(len(about))])
            moved.append(np.einsum("nij,nj->ni", by_point, about) * (k < sheets))
        by_share = fit.solver @ np.concatenate(moved).ravel()
        covariance = covariance + share**2 * np.outer(by_share, by_share)
    if known_doubt is not None:
        by_pose, by_lens = known_doubt  # (2 N, 6) px by sigmas of the old pose, (2 N, 9) px
        own = fit.solver @ by_pose
        covariance = covariance + own @ own.T
        gain = gain - fit.solver @ by_lens
    return covariance, gain


def _rms_mm(fit: PoseFit) -> float:
    """Root mean square distance of what counted, carried onto its plane."""
    square, total = 0.0, 0.0
    for p, residual, weight in zip(fit.points, fit.residual_px, fit.weight, strict=True):
        xyz, _ = p.on_bench()
        across = project(fit.rig, xyz)[3][:, :, :2]
        off = np.linalg.solve(across, residual[:, :, None])[:, :, 0]
        square += float((weight * (off**2).sum(axis=1)).sum())
        total += float(weight.sum())
    return math.sqrt(square / total)


def _reason(found: BenchPlane, sheets: list[Points], blank: Rig) -> str | None:
    fit = found.fit
    limit = WORST_RMS_PX * max(fit.rig.width, fit.rig.height) / 1920
    counted = np.concatenate(fit.weight) > 0.999
    tilted = _tilted(fit, sheets, blank)
    if tilted is not None:
        return tilted
    flat = found.flatness
    if flat is not None and flat.too_much:
        return (
            f"the sheet does not lie flat: it bows by {flat.bow_mm:.2f} mm (known to "
            f"{flat.sigma_mm:.2f} mm); tape it down all round or glue it to glass, and take "
            "the picture again; if it is flat, the lens has changed and must be calibrated again"
        )
    if fit.rms_px > limit or counted.mean() < STILL_THERE:
        return (
            f"what is seen does not fit the lens in the rig file: {fit.rms_px:.2f} px off on "
            "average; has the lens been refocused or the picture's size changed? Calibrate the "
            "lens again"
        )
    if not np.max(found.sigma_mm) <= WORST_SIGMA_MM:
        return (
            f"the plane would be known to {np.max(found.sigma_mm):.1f} mm only at the picture's "
            "corners; bring more of the sheet into view"
        )
    return None


def _tilted(fit: PoseFit, sheets: list[Points], blank: Rig) -> str | None:
    """Whether the sheet lay in another plane in one of several pictures."""
    if len(sheets) < 2:
        return None
    for k, sheet in enumerate(sheets):
        alone = replace(fit.points[k], place=np.zeros(3), free=False)
        start = start_pose(blank, alone)
        if start is None:
            continue
        own = fit_pose(start, (alone,))
        at, _ = alone.on_bench()
        seen = at @ own.rig.rotation.T + own.rig.translation_mm
        height = (seen - fit.rig.translation_mm) @ fit.rig.rotation[:, 2] - sheet.height_mm
        worst = float(np.abs(height).max())
        # dz of each corner by the pose of this picture alone
        away = np.stack([np.zeros_like(seen)] * 6, axis=2)
        away[:, :, 3:] = np.eye(3)
        for j in range(3):
            away[:, :, j] = np.cross(np.eye(3)[j], seen - own.rig.translation_mm)
        rows = np.einsum("i,nij->nj", fit.rig.rotation[:, 2], away)
        sigma = float(np.sqrt(np.einsum("ni,ij,nj->n", rows, own.covariance, rows).max()))
        if worst > max(WORST_TILT_MM, 4 * sigma):
            return (
                f"in picture {k + 1} the sheet lies up to {worst:.2f} mm off the plane that the "
                "pictures have in common; clear away what is under it, press it flat and take "
                "the pictures again"
            )
    return None
