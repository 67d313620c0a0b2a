"""The lens from views of the pattern: which views, which terms, how sure.

Bad views and bad corners are taken out by their own residuals, one at a time and no
more than needed. Terms of distortion come in only where views that had no say in the
fit agree better with them. One sigma of each value is the larger of what least squares
states and what leaving out one view after the other shows (jackknife): errors of
corners in one view are not independent, and a sheet is never quite flat.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.bundle import STRETCH, Fit, Seen, fit_bundle, pose_of, projected

# Sets of free values, the smaller first: k1; k1 k2; with p1 p2; with k3; all.
TERM_SETS = {
    "none": (0, 1, 2, 3),
    "k1": (0, 1, 2, 3, 4),
    "k1 k2": (0, 1, 2, 3, 4, 5),
    "k1 k2 p1 p2": (0, 1, 2, 3, 4, 5, 6, 7),
    "k1 k2 k3": (0, 1, 2, 3, 4, 5, 8),
    "k1 k2 p1 p2 k3": tuple(range(9)),
}
BAD_CORNER = 6.0  # times the typical residual of its view
BAD_VIEW = 3.0  # times the typical held-out error of the others
MIN_KEPT = 0.7  # of a view's corners; with fewer the view goes
MIN_VIEWS = 4
# px, of focal lengths and centre: errors that all views share are seen by no comparison of
# views. About what drawn photographs show, tests/benchmarks/bench_calibration.py.
SHARED_PX = 0.015
SURE = 5.0  # times its sigma: from here on the sheet is taken to be stretched


@dataclass(frozen=True, eq=False)
class LensFit:
    """values, sigma: (9,) as bundle.NAMES, sigma 0 for terms not used; terms: key of TERM_SETS

    used: (V,) bool; kept: per view (N,) bool, corners that had a say; of unused views
    all corners are held against the lens
    poses: (V, 6), NaN where a view has none; off_px: per view (N, 2)
    rms_px, held_out_rms_px: (V,) root mean square distance of a view's corners, in the fit
    and predicted by the other views (pose from the view's other half of corners)
    typical: residuals over stated sigmas, 1 if those are right
    stretch, stretch_sigma: the sheet's y is longer by 1 + stretch; 0 where views do not show it
    """

    values: np.ndarray
    covariance: np.ndarray
    terms: str
    used: np.ndarray
    kept: tuple[np.ndarray, ...]
    poses: np.ndarray
    off_px: tuple[np.ndarray, ...]
    rms_px: np.ndarray
    held_out_rms_px: np.ndarray
    typical: float
    stretch: float = 0.0
    stretch_sigma: float = 0.0

    @property
    def sigma(self) -> np.ndarray:
        """(9,) one sigma of each value, 0 for terms not used."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def total_rms_px(self) -> float:
        """Over all corners that had a say."""
        off = [o[k] for o, k, u in zip(self.off_px, self.kept, self.used, strict=True) if u]
        return float(np.sqrt((np.concatenate(off) ** 2).sum(axis=1).mean()))

    @property
    def total_held_out_px(self) -> float:
        return float(np.sqrt(np.mean(self.held_out_rms_px[self.used] ** 2)))


def fit_lens(
    views: Sequence[Seen], size_px: tuple[int, int], terms: str | None = None
) -> LensFit | None:
    """Fits, cleans, chooses; None where no lens explains the views at all.

    terms: a key of TERM_SETS to keep to; None: held-out views decide
    """
    kept = [np.ones(len(view.mm), bool) for view in views]
    used = np.ones(len(views), bool)
    full = _first(views, size_px, TERM_SETS[terms or "k1 k2"])
    if full is None:
        return None
    full, used, kept = _cleaned(views, size_px, full, used, kept, terms)
    parts = _parts(views, used, kept)
    more = (STRETCH,) if _stretched(parts, size_px, full) else ()
    name = terms or _chosen_terms(parts, size_px, full, more)
    fit = fit_bundle(parts, size_px, (*TERM_SETS[name], *more), full)
    return _concluded(views, fit, name, used, kept)


def _first(views, size_px, free) -> Fit | None:
    """Robust, so that one bad view or some bad corners do not bend all others."""
    rough = fit_bundle(views, size_px, free[:4], huber=8.0, tolerance=1e-2)
    if rough is None:
        return None
    fit = fit_bundle(views, size_px, free, rough, 5.0 * max(1.0, _typical(views, rough)), 1e-3)
    return fit_bundle(views, size_px, free, fit, 4.0 * max(1.0, _typical(views, fit)), 1e-4)


def _stretched(parts, size_px, start: Fit) -> bool:
    """Whether views show beyond doubt that the sheet is longer one way than drawn."""
    if len(parts) < MIN_VIEWS:
        return False
    free = {*start.free, *TERM_SETS["k1 k2 p1 p2"], STRETCH}
    fit = fit_bundle(parts, size_px, free, start, tolerance=1e-7)
    sigma = _sigma(fit, parts)[list(fit.free).index(STRETCH)]
    return abs(fit.values[STRETCH]) > SURE * sigma


def _typical(views, fit: Fit) -> float:
    """Median residual over its sigma, as one sigma along an axis (Rayleigh: 1.177)."""
    sizes = [np.hypot(*off.T) / v.sigma_px for off, v in zip(fit.off_px, views, strict=True)]
    return float(np.median(np.concatenate(sizes)) / 1.1774)


def _parts(views, used, kept) -> list[Seen]:
    return [
        Seen(v.mm[k], v.px[k], v.sigma_px[k])
        for v, k, u in zip(views, kept, used, strict=True)
        if u
    ]


def _cleaned(views, size_px, fit: Fit, used, kept, terms):
    """Without bad corners and bad views; a view that fits the cleaned lens comes back."""
    free = TERM_SETS[terms or ("k1 k2 p1 p2" if len(views) >= 5 else "k1 k2")]
    if len(views) >= 5:  # as a stretched sheet all views would look bad
        free = (*free, STRETCH)
    for _ in range(len(views)):
        for _ in range(2):  # the second time corners come back that only the rough lens missed
            kept = _good_corners(views, fit, used, kept)
            parts = _parts(views, used, kept)
            fit = fit_bundle(parts, size_px, free, _restarted(fit), tolerance=1e-6)
        held = held_out_px(parts, fit)
        share = np.array([k.mean() for k in kept])[used]
        worst = int(np.argmax(np.where(share < MIN_KEPT, np.inf, held)))
        others = np.delete(held, worst)
        if len(others) < MIN_VIEWS - 1:
            break
        limit = max(BAD_VIEW * float(np.median(others)), 0.05)
        if share[worst] >= MIN_KEPT and held[worst] <= limit:
            break
        if len(others) < MIN_VIEWS:
            break
        used = used.copy()
        used[np.flatnonzero(used)[worst]] = False
        rest = np.arange(len(held)) != worst
        fit = Fit(
            fit.values, fit.free, fit.poses[rest], tuple(np.array(fit.off_px, object)[rest]),
            fit.normal[rest], fit.pull[rest], fit.prior, fit.cost,
        )  # fmt: skip
    return fit, used, kept


def _restarted(fit: Fit) -> Fit:
    """The fit as a start for other corners of the same views."""
    return Fit(fit.values, fit.free, fit.poses, (), fit.normal, fit.pull, fit.prior, fit.cost)


def _good_corners(views, fit: Fit, used, kept) -> list[np.ndarray]:
    """Per view those whose residual is like that of the view's others."""
    out = list(kept)
    typical = _typical_of(fit, views, used)
    for row, pose in zip(np.flatnonzero(used), fit.poses, strict=True):
        view = views[row]
        off = np.hypot(*(view.px - projected(view.mm, fit.values, pose)).T) / view.sigma_px
        own = float(np.median(off)) / 1.1774
        out[row] = off <= BAD_CORNER * max(own, typical)
    return out


def _typical_of(fit: Fit, views, used) -> float:
    own = []
    for row, pose in zip(np.flatnonzero(used), fit.poses, strict=True):
        view = views[row]
        off = np.hypot(*(view.px - projected(view.mm, fit.values, pose)).T) / view.sigma_px
        own.append(np.median(off) / 1.1774)
    return float(np.median(own))


def held_out_px(parts: Sequence[Seen], fit: Fit) -> np.ndarray:
    """(V,) rms distance, px, of each view's corners from where all other views put them.

    The lens is that of the other views. The pose must come from the view itself: from
    every second corner, and the error is taken on those between, both ways round.
    """
    out = np.zeros(len(parts))
    for row, view in enumerate(parts):
        values = fit.without([row])
        squares = []
        half = np.arange(len(view.mm)) % 2 == 0
        for pose_from in (half, ~half):
            part = Seen(view.mm[pose_from], view.px[pose_from], view.sigma_px[pose_from])
            pose = pose_of(part, values, 3, fit.poses[row])
            off = view.px[~pose_from] - projected(view.mm[~pose_from], values, pose)
            squares.append((off**2).sum(axis=1))
        out[row] = np.sqrt(np.concatenate(squares).mean())
    return np.nan_to_num(out, nan=np.inf)


def _chosen_terms(parts, size_px, start: Fit, more: tuple[int, ...]) -> str:
    """The set whose lens predicts held-out views best; a smaller one if as good.

    As good: the larger set's gain over it, view by view, is less than its own
    standard error or than half a percent.
    """
    gains = {}
    for name, free in TERM_SETS.items():
        fit = fit_bundle(parts, size_px, (*free, *more), start, tolerance=1e-7)
        sizes = np.array([np.median(part.sigma_px) for part in parts])
        gains[name] = (held_out_px(parts, fit) / sizes) ** 2 if fit is not None else np.inf
    best = min(gains, key=lambda name: np.mean(gains[name]))
    for name in TERM_SETS:
        if name == best:
            break
        gain = gains[name] - gains[best]
        error = np.std(gain) / np.sqrt(max(1, len(gain) - 1))
        if np.mean(gain) < max(error, 0.005 * np.mean(gains[best])) and name != "none":
            return name
    return best


def _concluded(views, fit: Fit, name: str, used, kept) -> LensFit:
    parts = _parts(views, used, kept)
    covariance = np.zeros((10, 10))
    covariance[np.ix_(fit.free, fit.free)] = _covariance(fit, parts)
    covariance[range(4), range(4)] += SHARED_PX**2
    poses = np.full((len(views), 6), np.nan)
    poses[used] = fit.poses
    off, rms, held = [], np.full(len(views), np.nan), np.full(len(views), np.nan)
    held[used] = held_out_px(parts, fit)
    for row, view in enumerate(views):
        if not used[row]:
            pose = pose_of(view, fit.values, 4)
            poses[row] = np.nan if pose is None else pose
        off.append(view.px - projected(view.mm, fit.values, poses[row]))
        rms[row] = np.sqrt((off[-1][kept[row]] ** 2).sum(axis=1).mean())
        if not used[row]:
            held[row] = rms[row]
    return LensFit(
        fit.values[:9], covariance[:9, :9], name, used, tuple(kept), poses, tuple(off), rms, held,
        _unit(fit, parts), float(fit.values[STRETCH]),
        float(np.sqrt(covariance[STRETCH, STRETCH])),
    )  # fmt: skip


def _unit(fit: Fit, parts) -> float:
    """Residuals over their stated sigmas, freedom counted."""
    corners = sum(len(part.mm) for part in parts)
    freedom = 2 * corners - len(fit.free) - 6 * len(parts)
    return float(np.sqrt(fit.cost / max(1, freedom)))


def _sigma(fit: Fit, parts) -> np.ndarray:
    """(F,) one sigma of the free values: see the module.

    How much more the jackknife sees than least squares is averaged over all values, for
    of one value a dozen views tell it badly; where it sees more still, it is believed.
    """
    stated = np.sqrt(np.maximum(np.diag(fit.covariance()), 1e-300)) * _unit(fit, parts)
    shown = _jackknife(fit)
    more = max(1.0, float(np.sqrt(np.mean((shown / stated) ** 2))))
    return np.maximum(stated * more, shown)


def _covariance(fit: Fit, parts) -> np.ndarray:
    """(F, F) of the free values: they hang together as least squares says, each as unsure as
    `_sigma` says."""
    own = fit.covariance()
    more = _sigma(fit, parts) / np.sqrt(np.maximum(np.diag(own), 1e-300))
    return own * np.outer(more, more)


def _jackknife(fit: Fit) -> np.ndarray:
    """(F,) sigma from leaving out one view after the other (Efron 1982, from memory)."""
    count = len(fit.poses)
    if count < MIN_VIEWS:
        return np.full(len(fit.free), np.inf)
    moved = np.array([fit.without([row])[list(fit.free)] for row in range(count)])
    return np.sqrt((count - 1) / count * ((moved - moved.mean(axis=0)) ** 2).sum(axis=0))
