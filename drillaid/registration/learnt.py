"""What a board that was found looks like in this camera: the edges by which it is followed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from drillaid.design.model import Design
from drillaid.geometry import Affine
from drillaid.registration.copper import copper_edges, sharper_eye, some
from drillaid.registration.edging import AGREE_MM, EdgeFit, fit_edges
from drillaid.registration.stretches import voices
from drillaid.vision.channel import Grey, grey_of
from drillaid.vision.contours import EdgeModel, read_edges, thin_out
from drillaid.vision.edges import edge_threshold, find_edges
from drillaid.vision.plane import PlaneView

EDGES, FEW = 500, 250  # followed in each picture, and to come near
MARGIN_MM = 4.0  # beyond the outermost holes edges may still be the board's
SPACING_MM = 0.4
# Where pads were not seen, of edges: as near to a seen one, as long as so many are left (not
# yet thinned out); so much nearer than to one that was not.
NEAR_PAD_MM, ENOUGH_SEEN, NEARER = (1.6, 2.5, np.inf), 6000, 0.7
AS_DRAWN = 0.6  # share of the drawn edges, from which on the copper is what was etched
PART_DRAWN = 0.3, 300  # a lower share, and so many, by which a board under a hand is followed
AS_SEEN = 0.8  # of where an edge was seen beside its drawn place is the edge's own, the rest noise
SCATTER_MM, MOST = 0.03, 2000  # of drawn edges, from which on more are needed; at most so many


@dataclass(frozen=True, eq=False)
class Learnt:
    """model: edges (design mm), a draw of `whole`, of all that are known; few: a smaller draw, for
    coming near; fine: a larger one, where one edge tells little; share: of the model that agreed at the start, and chance: that
    agrees where it is not; weights: of B, G, R, in which they are seen, with its noise
    """

    model: EdgeModel
    whole: EdgeModel
    few: EdgeModel
    fine: EdgeModel | None
    weights: np.ndarray
    noise: float
    share: float
    chance: float
    voices: float

    def fit(
        self, image: np.ndarray, view: PlaneView, px_per_mm: float, place: Affine, reaches, model=None
    ) -> EdgeFit | None:
        """`place` moved to where the edges are; image: uint8 BGR; model: another draw of them"""
        return fit_edges(
            image, view.to_px, self.model if model is None else model, place, noise=self.noise,
            px_per_mm=px_per_mm, reaches=reaches, affine=False, weights=self.weights,
        )  # fmt: skip


def learn(
    image: np.ndarray, place: Affine, design: Design, face: str, view: PlaneView, px_per_mm: float,
    pad_seen: np.ndarray | None = None,
) -> Learnt:
    """The board's looks in the picture in which it was found at `place` (design mm -> plane).

    pad_seen: (N,) holes whose pad was seen there; None: all
    """  # fmt: skip
    there = np.ones(len(design.holes), bool) if pad_seen is None else pad_seen
    model, grey, scatter_mm = _edges_of_board(image, place, design, face, view, px_per_mm, there)
    draft = Learnt(
        some(model, EDGES), model, some(model, FEW), _fine(model, scatter_mm), grey.weights,
        grey.noise, 1.0, 0.0, voices(model),
    )  # fmt: skip
    fit = draft.fit(image, view, px_per_mm, place, (0.2,))
    rng = np.random.default_rng(5)
    shares = []
    for angle in rng.uniform(0, 2 * np.pi, 6):
        step = rng.uniform(1.2, 5.0) * np.array([np.cos(angle), np.sin(angle)])
        beside = place @ Affine.from_parts(offset=step)
        wrong = draft.fit(image, view, px_per_mm, beside, (0.3, 0.3))
        shares.append(0.03 if wrong is None else wrong.share)
    chance = float(np.clip(np.mean(shares) + np.std(shares), 0.03, 0.6))
    share = 0.0 if fit is None else fit.share
    return replace(draft, share=share, chance=chance)


def _fine(model: EdgeModel, scatter_mm: float) -> EdgeModel | None:
    """As many edges as bring a board whose edges scatter to the exactness of others."""
    count = min(int(EDGES * (scatter_mm / SCATTER_MM) ** 2), MOST)
    return some(model, count, seed=1) if count > EDGES and len(model) > EDGES else None


def _edges_of_board(
    image: np.ndarray, place: Affine, design: Design, face: str, view: PlaneView, px_per_mm: float,
    pad_seen: np.ndarray,
) -> tuple[EdgeModel, Grey, float]:
    """All edges worth following, the picture in the mixture of colours that shows them, and
    how far one of them lies beside its drawn place (mm, 0 where none is drawn).

    Drawn copper is better than seen edges, where it is what was etched; under a hand it is
    the part of it that shows, since the hand's edges go away with it.
    """
    copper = design.copper.get(face)
    if copper is None:
        grey = grey_of(image)
        return _seen_edges(grey, place, design, view, px_per_mm, pad_seen), grey, 0.0
    known = copper_edges(copper)
    few = some(known, EDGES)
    grey = grey_of(image, _weights_of(image, sharper_eye(image, view.to_px, few, place).grey))
    drawn = fit_edges(
        grey.image, view.to_px, few, place, noise=grey.noise, px_per_mm=px_per_mm,
        reaches=(0.25, 0.2), affine=False,
    )  # fmt: skip
    if drawn is not None and drawn.share > PART_DRAWN[0]:
        model, there = _as_etched(grey, known, drawn, place, view, px_per_mm)
        if drawn.share > AS_DRAWN:
            return model, grey, drawn.scatter_mm
        if there.sum() >= PART_DRAWN[1]:
            return model.only(there), grey, drawn.scatter_mm
    return _seen_edges(grey, place, design, view, px_per_mm, pad_seen), grey, 0.0


def _as_etched(
    grey: Grey, known: EdgeModel, drawn: EdgeFit, place: Affine, view: PlaneView, px_per_mm: float
) -> tuple[EdgeModel, np.ndarray]:
    """The drawn edges, each moved to where it shows, since etching frays every board in a way
    of its own, which stays with it; and (M,) bool, those that show."""
    model = drawn.as_etched(known)
    got = read_edges(
        grey.image, lambda xy: view.to_px(place(xy)), model, 2 * AGREE_MM, noise=grey.noise,
        px_per_unit=px_per_mm,
    )  # fmt: skip
    there = got.clear & (np.sign(got.step) == drawn.polarity) & (np.abs(got.off) < AGREE_MM)
    off = AS_SEEN * np.where(there, got.off, 0.0)
    return EdgeModel(model.xy + off[:, None] * model.normal, model.normal), there


def _seen_edges(
    grey: Grey, place: Affine, design: Design, view: PlaneView, px_per_mm: float, pad_seen: np.ndarray
) -> EdgeModel:
    """The board's edges in this picture, in design mm, to a part of a pixel."""
    edges = find_edges(grey.image, threshold=edge_threshold(grey.image, grey.noise), smooth_px=1.6)
    back = place.inverse
    here = back(view.to_plane(edges.px))
    normal = back(view.to_plane(edges.px + edges.normal)) - here
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    low = design.xy_mm.min(axis=0) - MARGIN_MM
    high = design.xy_mm.max(axis=0) + MARGIN_MM
    with np.errstate(invalid="ignore"):
        ours = ((here > low) & (here < high)).all(axis=1) & (length[:, 0] > 0)
    ours[ours] = _about_seen_pads(here[ours], design.xy_mm, pad_seen)
    ours &= edges.strength > np.quantile(edges.strength[ours], 0.6) if ours.any() else ours
    model = EdgeModel(here[ours], normal[ours] / length[ours])
    model = model.only(thin_out(model.xy, SPACING_MM))
    got = read_edges(
        grey.image, lambda xy: view.to_px(place(xy)), model, 0.15, noise=grey.noise,
        px_per_unit=px_per_mm,
    )  # fmt: skip
    exact = got.clear & (np.abs(got.off) < 0.08) & (got.step > 0)
    return EdgeModel(model.xy + got.off[:, None] * model.normal, model.normal).only(exact)


def _about_seen_pads(xy: np.ndarray, holes_mm: np.ndarray, pad_seen: np.ndarray) -> np.ndarray:
    """(M,) bool: places that are rather a seen pad's than one's that was not: what shows there
    may be a hand, whose edges go away with it."""
    if pad_seen.all() or not pad_seen.any():
        return np.ones(len(xy), bool)
    seen, unseen = (cKDTree(holes_mm[part]).query(xy)[0] for part in (pad_seen, ~pad_seen))
    for near_mm in NEAR_PAD_MM:
        there = (seen < NEARER * unseen) & (seen < near_mm)
        if there.sum() >= ENOUGH_SEEN:
            break
    return there


def _weights_of(image: np.ndarray, grey: np.ndarray) -> np.ndarray:
    """The mixture by which `grey` was made from `image`."""
    colours = image[::16, ::16].reshape(-1, 3).astype(np.float64)
    return np.linalg.lstsq(colours, grey[::16, ::16].ravel(), rcond=None)[0]
