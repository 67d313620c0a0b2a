"""A board that was followed and lost, looked for in the whole picture, quickly.

What is known of it makes the search short: scale and shear are the last
placement's, so only rigid movements are tried, and its own learnt edges judge them.
Its twins (half a turn, one pitch) are tried too; where one comes close, or nothing
stands out, the answer is none, and the thorough search has the word.
"""

from __future__ import annotations

import numpy as np

from drillaid.geometry import Affine
from drillaid.registration.copper import some
from drillaid.registration.directions import main_direction
from drillaid.registration.edging import EdgeFit, fit_edges
from drillaid.registration.evidence import LEAST_SHARE, Evidence, told_apart
from drillaid.registration.hypotheses import twin_moves
from drillaid.registration.stretches import voices
from drillaid.registration.voting import design_direction, propose, quarter_turns
from drillaid.vision.channel import grey_of
from drillaid.vision.contours import EdgeModel
from drillaid.vision.discs import find_discs
from drillaid.vision.edges import edge_threshold, find_edges
from drillaid.vision.plane import PlaneView, flatten

PX_PER_MM = 6.0  # of the flat picture: enough to see where round things are
VOTERS, TRIALS, FINE = 200, 24, 3
FEW = 150  # edges for a quick look
APART_MM = 0.8
EVERY_DEG = 1.5  # trial rotations, where the picture's edges do not tell the board's turn
# Natural logarithm: some 10^4 places are tried (ln = 9) and three numbers fitted.
ENOUGH = 16.0


def found_again(
    image: np.ndarray, view: PlaneView, px_per_mm: float, learnt, last: Affine, holes_mm: np.ndarray
) -> EdgeFit | None:
    """The fit at the one place where the board is, or None.

    learnt: what following knows of the board's looks (`following.Learnt`)
    last: its last placement, design mm -> plane
    """
    looker = _Looker(image, view, px_per_mm, learnt)
    sighted = _sighted(image, view, learnt)
    if sighted is None:
        return None
    for every_turn in (False, True):
        fit = _stands_out(looker, _trials(*sighted, last, holes_mm, every_turn), holes_mm)
        if fit is not None:
            return fit
    return None


def _stands_out(looker: _Looker, trials: list[Affine], holes_mm: np.ndarray) -> EdgeFit | None:
    ranked: list[tuple[float, Affine]] = []
    for trial in trials:
        fit = looker.fit(trial, looker.few, (0.9, 0.5, 0.3))
        if fit is not None:
            ranked.append((fit.share, fit.placement))
    ranked.sort(key=lambda row: -row[0])
    best = None
    for share, place in ranked[:FINE]:
        if best is None or share > 0.9 * best[0]:
            fit = looker.fit(place, looker.all, (0.4, 0.25, 0.2))
            if fit is not None and (best is None or fit.share > best[0]):
                best = fit.share, fit
    if best is None:
        return None
    fit = best[1]
    chance = looker.chance(fit.placement)
    evidence = looker.evidence(fit.placement, fit.share, chance)
    if evidence.share < LEAST_SHARE or evidence.support() < ENOUGH:
        return None
    others = [place for _, place in ranked] + [fit.placement @ m for m in twin_moves(holes_mm)]
    for other in others:
        if _apart(other, fit.placement, holes_mm) < APART_MM:
            continue
        rival = looker.fit(other, looker.few, (0.5, 0.3))
        if rival is None or _apart(rival.placement, fit.placement, holes_mm) < APART_MM:
            continue
        if not told_apart(evidence, looker.evidence(rival.placement, rival.share, chance)):
            return None
    return fit


class _Looker:
    """One picture, searched with the learnt edges."""

    def __init__(self, image, view: PlaneView, px_per_mm: float, learnt) -> None:
        self._image, self._view, self._px_per_mm, self._learnt = image, view, px_per_mm, learnt
        self.all, self.few = learnt.model, some(learnt.model, FEW, seed=3)

    def fit(self, place: Affine, model: EdgeModel, reaches) -> EdgeFit | None:
        seen = self._in_view(place, model)
        if seen.sum() < 0.3 * len(model):
            return None
        return fit_edges(
            self._image, self._view.to_px, model.only(seen), place, noise=self._learnt.noise,
            px_per_mm=self._px_per_mm, reaches=reaches, affine=False, weights=self._learnt.weights,
        )  # fmt: skip

    def _in_view(self, place: Affine, model: EdgeModel) -> np.ndarray:
        px = self._view.to_px(place(model.xy))
        with np.errstate(invalid="ignore"):
            return ((px > 2) & (px < np.array(self._view.size_px) - 3)).all(axis=1)

    def evidence(self, place: Affine, share: float, chance: float) -> Evidence:
        """As in registration: of so many independent readings so many agree."""
        seen = self._in_view(place, self._learnt.model)
        count = voices(self._learnt.model.only(seen))
        return Evidence(round(share * count), round(count), chance)

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


def _sighted(image, view: PlaneView, learnt) -> tuple[np.ndarray, float] | None:
    """Round things on the plane (n, 2), best first, and the direction of its edges, rad."""
    flat = flatten(image, view, PX_PER_MM)
    grey = grey_of(flat.image, learnt.weights)
    edges = find_edges(grey.image, threshold=edge_threshold(grey.image, grey.noise))
    discs = find_discs(grey.image, radius_px=(0.3 * flat.px_per_unit, 3.0 * flat.px_per_unit))
    if len(edges) < 100 or len(discs) < 6:
        return None
    strong = edges.normal[np.argsort(-edges.strength)[:10000]]
    # Picture rows run down, the plane's y up.
    phi = np.degrees(np.arctan2(-strong[:, 1], strong[:, 0])) % 90.0
    return flat.to_plane(discs[:VOTERS, :2]), float(np.radians(main_direction(phi)))


def _trials(
    voters: np.ndarray, direction_rad: float, last: Affine, holes_mm: np.ndarray, every_turn: bool
) -> list[Affine]:
    """The likeliest rigid movements of the board, best first."""
    turn = Affine.from_parts(rotation_rad=-last.rotation_rad)
    shape = Affine(np.column_stack([(turn @ last).linear, [0.0, 0.0]]))
    shaped = shape(holes_mm)
    rotations = quarter_turns(direction_rad, design_direction(shaped))
    if every_turn:
        rotations = list(np.radians(np.arange(0.0, 360.0, EVERY_DEG)))
    found = propose(
        voters, shaped, mirrored=False, rotations_rad=rotations, scales=(1.0,), keep=TRIALS,
        each=2 if every_turn else 8,
    )  # fmt: skip
    return [candidate.placement @ shape for candidate in found]
