"""The lens from photographs of the pattern, or a refusal that says what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from calibration.bundle import NAMES, Seen, matrix_of
from calibration.lens_fit import LensFit, fit_lens
from calibration.pattern import Pattern
from calibration.spread import Spread, spread_of
from calibration.views import NoPattern, PatternView
from drillaid.rig.rig import Rig

MIN_USABLE = 5  # with fewer no view can be held out and still be judged by the others
ENOUGH = 12  # what to ask for
MIN_TILT_DEG = 12.0
MAX_FOCAL_SIGMA = 0.005  # of the focal length; the demand is 0.001
MIN_HULL = 0.5  # of the picture, within the hull of all corners
MAX_RMS = 1.5 / 1920  # of the picture's longer side
MAX_OFF_CENTRE = 0.15  # of the picture's width

REPEAT_PX = 2.0 / 1920  # of the longer side: a sheet that moved less was not moved

CALIBRATED = "calibrated"


@dataclass(frozen=True)
class Photo:
    """One picture looked at. name: for people; size_px: (width, height)"""

    name: str
    size_px: tuple[int, int]
    found: PatternView | NoPattern


@dataclass(frozen=True)
class ViewReport:
    """What became of one picture; rms_px: None where no pattern was found; reason: why not used"""

    file: str
    rms_px: float | None
    used: bool
    reason: str | None
    corners: int = 0
    held_out_rms_px: float | None = None

    def to_json(self) -> dict:
        return {
            "file": self.file, "rms_px": self.rms_px, "used": self.used, "reason": self.reason,
            "corners": self.corners, "held_out_rms_px": self.held_out_rms_px,
        }  # fmt: skip


@dataclass(frozen=True, eq=False)
class LensResult:
    """status: "calibrated", or why not: too_few, blurred, mixed_sizes, parallel,
    poor_coverage, implausible; message: one sentence for a person
    fit, spread: None with most refusals, and never an answer unless calibrated
    """

    status: str
    message: str
    views: tuple[ViewReport, ...]
    pattern: Pattern
    size_px: tuple[int, int] | None = None
    fit: LensFit | None = None
    spread: Spread | None = None
    warnings: tuple[str, ...] = field(default=())

    @property
    def calibrated(self) -> bool:
        return self.status == CALIBRATED

    def to_json(self) -> dict:
        """As `calibrate lens --json` prints it."""
        fit = self.fit if self.calibrated else None
        return {
            "status": self.status,
            "message": self.message,
            "warnings": list(self.warnings),
            "rms_px": fit and fit.total_rms_px,
            "held_out_rms_px": fit and fit.total_held_out_px,
            "width": fit and self.size_px[0],
            "height": fit and self.size_px[1],
            "matrix": fit and matrix_of(fit.values).tolist(),
            "distortion": fit and fit.values[4:].tolist(),
            "sigma": fit and dict(zip(NAMES, fit.sigma.tolist(), strict=True)),
            "terms": fit and fit.terms,
            "sheet_stretch": fit and fit.stretch,
            "sheet_stretch_sigma": fit and fit.stretch_sigma,
            "coverage": fit and self.spread.coverage,
            "tilt_deg": fit and self.spread.tilt_deg,
            "views": [view.to_json() for view in self.views],
        }

    def section(self) -> dict:
        """[camera] of the rig file, what was locked and when left to the caller."""
        if not self.calibrated:
            raise ValueError("a refusal has no lens")
        fit = self.fit
        return {
            "width": self.size_px[0],
            "height": self.size_px[1],
            "matrix": matrix_of(fit.values),
            "distortion": fit.values[4:],
            "sigma": dict(zip(NAMES, fit.sigma, strict=True)),
            "covariance": fit.covariance,
            "rms_px": fit.total_rms_px,
            "held_out_rms_px": fit.total_held_out_px,
            "sheet_stretch": fit.stretch or None,
            "sheet_stretch_sigma": fit.stretch_sigma if fit.stretch else None,
            "views": int(fit.used.sum()),
            "coverage": self.spread.coverage,
            "pattern": self.pattern.words,
        }


def calibrate_lens(
    photos: Sequence[Photo], pattern: Pattern, terms: str | None = None
) -> LensResult:
    """The whole way from looked-at pictures to a lens or a reasoned refusal."""
    photos = _without_repeats(photos)
    found = [photo for photo in photos if isinstance(photo.found, PatternView)]
    if len({photo.size_px for photo in photos}) > 1:
        return _refused("mixed_sizes", _mixed(photos), photos, pattern)
    if len(found) < MIN_USABLE:
        return _refused(*_too_few(photos, len(found)), photos, pattern)
    size_px = found[0].size_px
    views = [Seen(p.found.corners_mm, p.found.corners_px, p.found.sigma_px) for p in found]
    fit = fit_lens(views, size_px, terms)
    if fit is None:
        message = "no lens explains these views; photograph the sheet again, lying flat"
        return _refused("implausible", message, photos, pattern)
    reports = _reports(photos, found, fit)
    used = [view.px[k] for view, k, u in zip(views, fit.kept, fit.used, strict=True) if u]
    spread = spread_of(used, fit.poses[fit.used], size_px)
    refusal = _why_not(fit, spread, size_px)
    if refusal is not None:
        return LensResult(*refusal, reports, pattern, size_px, None, spread)
    warnings = _warnings(fit, spread, size_px)
    return LensResult(
        CALIBRATED, _sentence(fit, len(photos)), reports, pattern, size_px, fit, spread, warnings
    )


def _without_repeats(photos: Sequence[Photo]) -> list[Photo]:
    """Pictures of an unmoved sheet count once: they would pass for views that agree."""
    out: list[Photo] = []
    for photo in photos:
        same = next((other.name for other in out if _repeats(photo, other)), None)
        if same is not None:
            reason = f"it shows the sheet as {same} does; move the sheet between pictures"
            photo = Photo(photo.name, photo.size_px, NoPattern("same", reason))
        out.append(photo)
    return out


def _repeats(one: Photo, other: Photo) -> bool:
    if not (isinstance(one.found, PatternView) and isinstance(other.found, PatternView)):
        return False
    shared, a, b = np.intersect1d(one.found.ids, other.found.ids, return_indices=True)
    if one.size_px != other.size_px or len(shared) < 4:
        return False
    off = np.hypot(*(one.found.corners_px[a] - other.found.corners_px[b]).T)
    return bool(np.median(off) < REPEAT_PX * max(one.size_px))


def _refused(status: str, message: str, photos, pattern: Pattern) -> LensResult:
    reports = tuple(
        ViewReport(p.name, None, False, p.found.reason, 0)
        if isinstance(p.found, NoPattern)
        else ViewReport(p.name, None, False, "nothing was calibrated", len(p.found))
        for p in photos
    )
    return LensResult(status, message, reports, pattern)


def _mixed(photos) -> str:
    sizes: dict[tuple[int, int], list[str]] = {}
    for photo in photos:
        sizes.setdefault(photo.size_px, []).append(photo.name)
    told = "; ".join(
        f"{w} x {h}: {names[0]}" + (f" and {len(names) - 1} more" if len(names) > 1 else "")
        for (w, h), names in sorted(sizes.items(), key=lambda item: -len(item[1]))
    )
    return (
        f"The photographs have different sizes ({told}); a lens is calibrated for one size: "
        "take all with the same camera, the same way up and in the size used for drilling."
    )


def _too_few(photos, usable: int) -> tuple[str, str]:
    reasons = [photo.found for photo in photos if isinstance(photo.found, NoPattern)]
    kinds = [reason.kind for reason in reasons]
    said = f"{usable} of {len(photos)} photographs can be used"
    asked = f"at least {MIN_USABLE} are needed, {ENOUGH} are better"
    if not reasons:
        return "too_few", f"{said}; {asked}: from different sides, near and far."
    most = max(set(kinds), key=kinds.count)
    why = next(reason.reason for reason in reasons if reason.kind == most)
    status = most if kinds.count(most) >= max(2, len(photos) - MIN_USABLE + 1) else "too_few"
    status = {"none": "too_few", "cropped": "too_few", "small": "too_few", "same": "too_few"}.get(
        status, status
    )
    return status, f"{said}, {asked}. {kinds.count(most)} times: {why}."


def _reports(photos, found, fit: LensFit) -> tuple[ViewReport, ...]:
    rows = {id(photo): row for row, photo in enumerate(found)}
    out = []
    for photo in photos:
        if isinstance(photo.found, NoPattern):
            out.append(ViewReport(photo.name, None, False, photo.found.reason))
            continue
        row = rows[id(photo)]
        dropped = int((~fit.kept[row]).sum())
        reason = None
        if not fit.used[row]:
            reason = (
                f"its corners lie {fit.rms_px[row]:.2f} px from where the other views put them; "
                "was the sheet bent, or the camera moved during the exposure?"
            )
        elif dropped:
            reason = f"{dropped} of {len(photo.found)} corners left out"
        out.append(
            ViewReport(
                photo.name, float(fit.rms_px[row]), bool(fit.used[row]), reason,
                len(photo.found), float(fit.held_out_rms_px[row]),
            )
        )  # fmt: skip
    return tuple(out)


def _why_not(fit: LensFit, spread: Spread, size_px) -> tuple[str, str] | None:
    width = max(size_px)
    if fit.used.sum() < MIN_USABLE:
        return "too_few", (
            f"Only {int(fit.used.sum())} views agree with each other, at least {MIN_USABLE} are "
            "needed; fix the sheet flat on a board and photograph it again."
        )
    focal_sigma = float(max(fit.sigma[0] / fit.values[0], fit.sigma[1] / fit.values[1]))
    if spread.tilt_deg < MIN_TILT_DEG or not focal_sigma <= MAX_FOCAL_SIGMA:
        return "parallel", (
            f"All views see the sheet from nearly the same direction (they differ by "
            f"{spread.tilt_deg:.0f} degrees), so the focal length is only known to "
            f"{100 * focal_sigma:.2g} %; tilt the sheet by 20 to 40 degrees to each of its four "
            "sides in further photographs."
        )
    if fit.total_rms_px > MAX_RMS * width:
        return "implausible", (
            f"The corners lie {fit.total_rms_px:.2f} px from any lens; fix the sheet flat on a "
            "board, switch focusing off and photograph it again."
        )
    if spread.hull_share < MIN_HULL or len(spread.unseen) >= 3:
        return "poor_coverage", (
            f"The pattern was seen in {100 * spread.hull_share:.0f} % of the picture only and not "
            f"in {_listed(spread.unseen)}; add photographs in which the sheet reaches there."
        )
    return _implausible(fit, size_px)


def _implausible(fit: LensFit, size_px) -> tuple[str, str] | None:
    width, height = size_px
    focal, aspect = fit.values[0], fit.values[0] / fit.values[1]
    middle = np.array([(width - 1) / 2, (height - 1) / 2])
    off = np.abs(fit.values[2:4] - middle).max()
    edge = [[0, 0], [width - 1, 0], [0, height - 1], [width - 1, height - 1]]
    rig = Rig(width, height, matrix_of(fit.values), fit.values[4:], [0, 0, 0], [0, 0, 1])
    wrong = None
    if not 0.2 * max(size_px) < focal < 20 * max(size_px):
        wrong = f"a focal length of {focal:.0f} px"
    elif not 0.9 < aspect < 1.1:
        wrong = f"pixels {aspect:.2f} times as high as wide"
    elif off > MAX_OFF_CENTRE * max(size_px):
        wrong = f"a lens {off:.0f} px off the middle of the picture (was it cropped?)"
    elif np.isnan(rig.undistort(edge)).any():
        wrong = "a distortion that folds the picture's corners back"
    if wrong is None:
        return None
    return "implausible", (
        f"The views give {wrong}, which no camera has; take new photographs with more tilt and "
        "with the sheet in every part of the picture."
    )


def _warnings(fit: LensFit, spread: Spread, size_px) -> tuple[str, ...]:
    out = []
    if fit.stretch:
        way = "longer" if fit.stretch > 0 else "shorter"
        out.append(
            f"The sheet is {100 * abs(fit.stretch):.2f} % {way}"
            " from top to bottom than its squares are wide, as printers make it; the lens allows "
            "for that, and so does the bench plane if it is made with this very sheet."
        )
    if spread.unseen:
        out.append(f"Nothing was seen in {_listed(spread.unseen)}: the lens is extrapolated there.")
    if fit.used.sum() < 8:
        out.append(f"{int(fit.used.sum())} views are few; {ENOUGH} make the lens surer.")
    if max(fit.sigma[0] / fit.values[0], fit.sigma[1] / fit.values[1]) > 0.001:
        out.append(
            f"The focal length is known to {100 * fit.sigma[0] / fit.values[0]:.2f} % only; "
            "more views with more tilt make it surer."
        )
    if fit.total_held_out_px > 2 * fit.total_rms_px:
        out.append("Views that were held out fit much worse than the others: add views.")
    if fit.typical > 6:
        out.append("The corners scatter more than the pictures explain: is the sheet flat?")
    return tuple(out)


def _listed(names: Sequence[str]) -> str:
    if not names:
        return "its rim"
    if len(names) == 1:
        return f"the {names[0]} corner"
    return f"the {', '.join(names[:-1])} and {names[-1]} corners"


def _sentence(fit: LensFit, count: int) -> str:
    fx, sigma = fit.values[0], fit.sigma[0]
    return (
        f"Lens calibrated from {int(fit.used.sum())} of {count} views: focal length "
        f"{fx:.2f} ± {sigma:.2g} px, centre ({fit.values[2]:.2f} ± {fit.sigma[2]:.2g}, "
        f"{fit.values[3]:.2f} ± {fit.sigma[3]:.2g}) px; {fit.total_rms_px:.3f} px rms, "
        f"{fit.total_held_out_px:.3f} px on views that were held out."
    )
