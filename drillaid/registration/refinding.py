"""A board that was followed and lost, looked for in the whole picture, quickly.

What is known of it makes the search short: scale, shear and face are the last
placement's, so only rigid movements are tried. The correlation of its own learnt edges
with those of the picture (`correlation`) names a few places, the edges themselves judge.
Its twins (half a turn, one pitch) are tried too; where one comes close, or nothing
stands out, the answer is none, and the thorough search has the word.
"""

from __future__ import annotations

import numpy as np

from drillaid.geometry import Affine
from drillaid.registration.copper import some
from drillaid.registration.correlation import Correlator, all_rotations, shifted_about, turned_by
from drillaid.registration.edging import AGREE_MM, EdgeFit
from drillaid.registration.evidence import APART, LEAST_SHARE, Evidence, told_apart
from drillaid.registration.learnt import Learnt
from drillaid.registration.near_twins import twin_moves
from drillaid.registration.peaks import Peak, distinct
from drillaid.registration.stretches import TELLING_MM, straight_runs_mm, voices
from drillaid.vision.contours import EdgeModel, read_edges
from drillaid.vision.edge_field import edge_field
from drillaid.vision.eye import inside
from drillaid.vision.plane import PlaneView, flatten

PX_PER_MM = 5.0  # of the flat picture: its edges are only compared, never measured
# Of the comparison at all places: px per mm at most, places of the picture, degrees.
GRID_PX_PER_MM, GRID_PLACES, GRID_DEG = 1.0, 12_000, 3.0
LOOKS, FINE = 5, 2  # placements that are settled, and of them fitted with all edges
SETTLED_BY, FEW = 400, 150  # edges that settle a placement, and for a quick look at it
APART_MM = 0.8
# Natural logarithm: some 10^4 places are tried (ln = 9) and three numbers fitted.
ENOUGH = 16.0
# Under a hand less of the board shows; then that has to say more.
HIDDEN_SHARE, HIDDEN_ENOUGH = 0.35, 24.0
CLOSE = 3 * APART  # in a quick look, below which a rival is looked at with all edges


def found_again(
    image: np.ndarray, view: PlaneView, px_per_mm: float, learnt: Learnt, last: Affine,
    holes_mm: np.ndarray,
) -> EdgeFit | None:
    """The fit at the one place where the board is, or None.

    learnt: what following knows of the board's looks (`learnt.Learnt`)
    last: its last placement, design mm -> plane
    """
    looker = _Looker(image, view, px_per_mm, learnt)
    return _stands_out(looker, _trials(image, view, learnt.whole, last), holes_mm)


def _stands_out(looker: _Looker, trials: list[Affine], holes_mm: np.ndarray) -> EdgeFit | None:
    ranked: list[tuple[float, Affine]] = []
    for trial in trials:
        fit = looker.fit(trial, looker.few, (0.7, 0.4, 0.3))
        if fit is not None:
            ranked.append((fit.share, fit.placement))
    ranked.sort(key=lambda row: -row[0])
    best = None
    for share, place in ranked[:FINE]:
        if best is None or share > 0.9 * best.share:
            fit = looker.fit(place, looker.all, (0.4, 0.25, 0.2))
            if fit is not None and (best is None or fit.share > best.share):
                best = fit
    if best is None or best.share < HIDDEN_SHARE:
        return None
    for _ in range(2):
        chance = looker.chance(best.placement)
        evidence = looker.evidence(best, best.share, chance)
        if not _convincing(looker, best, evidence):
            return None
        rivals = _rivals(looker, best, [place for _, place in ranked], holes_mm)
        near = [
            rival for rival in rivals
            if _ahead(evidence, looker.evidence(rival, rival.share, chance)) < CLOSE
        ]  # fmt: skip
        better = _not_told_apart(looker, best, near, chance)
        if better is None:
            return best
        if better.share <= best.share:
            return None
        # The best was the board's twin, and the board itself among the rivals.
        best = better
    return None


def _not_told_apart(
    looker: _Looker, best: EdgeFit, near: list[EdgeFit], chance: float
) -> EdgeFit | None:
    """The strongest rival that all edges known do not tell from the best; a draw of edges
    is never drawn alike for a board and its twin."""
    if not near:
        return None
    own = looker.evidence(best, looker.telling(best), chance)
    close: list[tuple[float, EdgeFit]] = []
    for quick in near:
        rival = looker.fit(quick.placement, looker.all, (0.25, 0.2))
        if rival is None:
            continue
        share = looker.telling(rival)
        if not told_apart(own, looker.evidence(rival, share, chance)):
            close.append((share, rival))
    return max(close, key=lambda row: row[0])[1] if close else None


def _ahead(best: Evidence, rival: Evidence) -> float:
    seen = float(np.clip(best.share, 0.5, 0.97))
    return best.support(seen) - rival.support(seen)


def _rivals(
    looker: _Looker, best: EdgeFit, places: list[Affine], holes_mm: np.ndarray
) -> list[EdgeFit]:
    """Quick fits at all other places that the board may be taken to lie at."""
    found = []
    for place in places + [best.placement @ move for move in twin_moves(holes_mm)]:
        if _apart(place, best.placement, holes_mm) < APART_MM:
            continue
        rival = looker.fit(place, looker.few, (0.5, 0.3))
        if rival is not None and _apart(rival.placement, best.placement, holes_mm) >= APART_MM:
            found.append(rival)
    return found


def _convincing(looker: _Looker, fit: EdgeFit, evidence: Evidence) -> bool:
    if evidence.share >= LEAST_SHARE:
        return evidence.support() >= ENOUGH
    return evidence.support() >= HIDDEN_ENOUGH and looker.telling(fit) >= HIDDEN_SHARE


class _Looker:
    """One picture, searched with the learnt edges."""

    def __init__(self, image, view: PlaneView, px_per_mm: float, learnt: Learnt) -> None:
        self._image, self._view, self._px_per_mm, self._learnt = image, view, px_per_mm, learnt
        self.all, self.few = learnt.model, some(learnt.model, FEW, seed=3)
        self._voices = voices(self.all)

    def fit(self, place: Affine, model: EdgeModel, reaches) -> EdgeFit | None:
        seen = self._in_view(place, model)
        if seen.sum() < 0.3 * len(model):
            return None
        return self._learnt.fit(
            self._image, self._view, self._px_per_mm, place, reaches, model.only(seen)
        )

    def _in_view(self, place: Affine, model: EdgeModel) -> np.ndarray:
        return inside(self._view.size_px, self._view.to_px(place(model.xy)), 2.0)

    def evidence(self, fit: EdgeFit, share: float, chance: float) -> Evidence:
        """As in registration: of so many independent readings so many agree."""
        count = self._voices * self._in_view(fit.placement, self.all).mean()
        return Evidence(round(share * count), round(count), chance)

    def telling(self, fit: EdgeFit) -> float:
        """The share that agrees where long straight edges, the frame of a pour, say little."""
        model = self._learnt.whole
        model = model.only(self._in_view(fit.placement, model))
        weight = np.minimum(1.0, TELLING_MM / np.maximum(straight_runs_mm(model), 1e-6))
        moved = fit.as_etched(model)
        got = read_edges(
            self._image, lambda xy: self._view.to_px(fit.placement(xy)), moved, 0.2,
            noise=self._learnt.noise, px_per_unit=self._px_per_mm, weights=self._learnt.weights,
        )  # fmt: skip
        agree = got.clear & (np.abs(got.off) < AGREE_MM) & (np.sign(got.step) == fit.polarity)
        return float(weight[agree].sum() / max(weight.sum(), 1e-9))

    def chance(self, place: Affine) -> float:
        """The share that agrees beside the place, in this picture."""
        rng, shares = np.random.default_rng(7), []
        for _ in range(5):
            angle, length = rng.uniform(0, 2 * np.pi), rng.uniform(1.6, 6.0)
            step = Affine.from_parts(offset=length * np.array([np.cos(angle), np.sin(angle)]))
            got = self.fit(place @ step, self.few, (0.3, 0.3))
            shares.append(0.05 if got is None else got.share)
        return float(np.clip(np.mean(shares) + 1.5 * np.std(shares), 0.05, 0.95))


def _apart(one: Affine, other: Affine, holes_mm: np.ndarray) -> float:
    """Root mean square distance of the holes, mm."""
    return float(np.sqrt(np.mean(np.sum((one(holes_mm) - other(holes_mm)) ** 2, axis=1))))


def _trials(image: np.ndarray, view: PlaneView, model: EdgeModel, last: Affine) -> list[Affine]:
    """The likeliest rigid movements of the board, best first."""
    flat = flatten(image, view, PX_PER_MM)
    see = Correlator(edge_field(flat.image, flat.valid, flat.px_per_unit), flat.to_plane)
    shape = _untwisted(last)
    shaped = _mapped(model, shape)
    places = flat.valid.size / flat.px_per_unit**2
    grid = min(GRID_PX_PER_MM, np.sqrt(GRID_PLACES / places))
    peaks = see.peaks(
        shaped, sides=(False,), px_per_mm=grid, rotations_rad=all_rotations(GRID_DEG), keep=LOOKS
    )
    few = some(shaped, SETTLED_BY)
    settled = [_settled(see, few, p, 1.2 / grid) for p in peaks]
    settled.sort(key=lambda p: -p.score)
    return [p.placement @ shape for p in distinct(settled, shaped.xy, LOOKS, within_mm=0.3)]


def _settled(see: Correlator, model: EdgeModel, peak: Peak, shift_mm: float) -> Peak:
    """The best place round about a peak; turned and moved only, as the board is not
    stretched, which would lead astray where most of it is hidden."""
    best, score = peak.placement, -1.0
    turn_deg = GRID_DEG / 2 + 0.3
    for turns, shifts, reach, soft_mm in (
        (9, 7, 1.0, 0.3), (7, 5, 0.3, 0.2), (5, 5, 0.08, 0.2)
    ):  # fmt: skip
        linear = turned_by(np.radians(reach * turn_deg) * np.linspace(-1, 1, turns)) @ best.linear
        shifts_mm = reach * shift_mm * np.linspace(-1, 1, shifts)
        offset = shifted_about(best, linear, model.xy.mean(axis=0), shifts_mm)
        best, score = see.best_of(model, linear, offset, soft_mm)
    return Peak(best, score, peak.mirrored)


def _untwisted(last: Affine) -> Affine:
    """Scale, shear and face of a placement, without its turn and its place."""
    turn = Affine.from_parts(rotation_rad=-last.rotation_rad)
    return Affine(np.column_stack([(turn @ last).linear, [0.0, 0.0]]))


def _mapped(model: EdgeModel, shape: Affine) -> EdgeModel:
    # Lines keep their points, so normals go by the inverse transpose.
    normal = model.normal @ np.linalg.inv(shape.linear)
    return EdgeModel(shape(model.xy), normal / np.linalg.norm(normal, axis=1, keepdims=True))
