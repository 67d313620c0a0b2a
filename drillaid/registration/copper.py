"""Placements judged by the design's own copper: every edge of it, not only the pads.

Holes alone leave twins (a row moved by a pitch, a board turned by half a turn);
copper rarely does. The chance level is measured: the same copper laid at wrong
places of the same picture finds some edges too, and a right place must find far
more.
"""

from __future__ import annotations

import weakref
from dataclasses import dataclass

import numpy as np

from drillaid.design.model import Copper
from drillaid.geometry import Affine
from drillaid.registration.edging import EdgeFit, fit_edges
from drillaid.registration.evidence import COPPER_ENOUGH, COPPER_MOST_CHANCE, Evidence
from drillaid.registration.settling import settle
from drillaid.registration.stretches import (
    CELLS_PER_VOICE,
    SEEN_MM,
    Stretches,
    stretches_seen,
)
from drillaid.vision.channel import grey_of, noise_of, unlike, weights_between
from drillaid.vision.contours import EdgeModel, edge_model_of
from drillaid.vision.eye import Eye, inside

SPACING_MM, NARROW_MM = 0.4, 1.0
FEW, MANY = 500, 2500  # edge points to rank with, and to settle with
FEWEST_COLOURS = 30  # of each side

_models: weakref.WeakKeyDictionary[Copper, EdgeModel] = weakref.WeakKeyDictionary()


def copper_edges(copper: Copper) -> EdgeModel:
    """All edges of one face's copper, design mm; worked out once for each Copper."""
    model = _models.get(copper)
    if model is None:
        model = edge_model_of(copper.mask, copper.to_design, copper.px_per_mm, spacing=SPACING_MM, narrow=NARROW_MM)
        _models[copper] = model
    return model


def some(model: EdgeModel, count: int, seed: int = 0) -> EdgeModel:
    """A seeded draw of at most `count` edge points."""
    if len(model) <= count:
        return model
    return model.only(np.random.default_rng(seed).permutation(len(model))[:count])


def sharper_eye(image: np.ndarray, to_px, model: EdgeModel, placement, aside_mm=0.22) -> Eye:
    """The photograph in the mixture of colours that tells copper from bare board best here.

    image: uint8 BGR; colours are taken on both sides of the edges as `placement` has them
    """
    sides = colours_beside(image, to_px, model, placement, aside_mm)
    if min(len(side) for side in sides) < FEWEST_COLOURS:
        grey = grey_of(image)
    else:
        grey = grey_of(image, weights_between(*sides))
    return Eye(grey.image, grey.noise)


def unlike_eye(image: np.ndarray, to_px, model: EdgeModel, placement, aside_mm=0.3) -> Eye | None:
    """The photograph as it is unlike bare board (`channel.unlike`); as `sharper_eye`. None where
    too little is in view."""
    copper, bare = colours_beside(image, to_px, model, placement, aside_mm)
    if min(len(copper), len(bare)) < FEWEST_COLOURS:
        return None
    grey = unlike(image, bare, copper)
    return Eye(grey, noise_of(grey))


def colours_beside(image, to_px, model: EdgeModel, placement, aside_mm: float) -> list[np.ndarray]:
    """Two of (n, 3): on the copper and on the bare side of the edges."""
    sides = []
    for sign in (1.0, -1.0):
        px = to_px(placement(model.xy + sign * aside_mm * model.normal))
        height, width = image.shape[:2]
        with np.errstate(invalid="ignore"):
            u, v = np.nan_to_num(np.rint(px), nan=-1).astype(int).T
        seen = (u >= 0) & (v >= 0) & (u < width) & (v < height)
        sides.append(image[v[seen], u[seen]].astype(np.float64))
    return sides


@dataclass(frozen=True, eq=False)
class Judged:
    """A placement (design mm -> plane) with the edges' verdict; share: of the stretches in view."""

    fit: EdgeFit
    evidence: Evidence
    in_view: np.ndarray
    share: float


def visible(eye: Eye, to_px, model: EdgeModel, placement) -> np.ndarray:
    """(M,) bool: edge points that fall inside the picture under `placement`."""
    return inside(eye.size_px, to_px(placement(model.xy)), 2.0)


def judge(
    eye: Eye, to_px, model: EdgeModel, start: Affine, px_per_mm: float, chance: float, *,
    reaches=(0.8, 0.5, 0.3), affine: bool = True, telling: bool = True, thorough: bool = False,
) -> Judged | None:
    """Fits the edges from `start` and weighs what agrees; None where nothing does.

    telling: False leaves out how telling the stretches are, where only `share` is wanted
    thorough: settled (`settling`), with a covariance that counts the scene's whims
    """
    seen = visible(eye, to_px, model, start)
    if seen.sum() < 60:
        return None
    part = model.only(seen)
    fit = fit_edges(
        eye.grey, to_px, part, start, noise=eye.noise, px_per_mm=px_per_mm,
        reaches=reaches, affine=affine,
    )
    if fit is None:
        return None
    weight = Stretches.of(part).weight if telling else None
    if thorough:
        told = 1.0 if weight is None else float(weight.mean())
        fit = settle(eye.grey, to_px, part, fit, px_per_mm, noise=eye.noise, telling=told)
    agree = stretches_seen(eye, to_px, part, fit, px_per_mm)
    weight = np.ones(len(agree)) if weight is None else weight
    evidence = Evidence(
        round(agree.sum() / CELLS_PER_VOICE),
        round(len(agree) / CELLS_PER_VOICE),
        chance,
        SEEN_MM,
        float(weight[agree].sum() / weight.sum()),
        COPPER_ENOUGH,
        COPPER_MOST_CHANCE,
        known=True,
        voices=float(weight.sum()) / CELLS_PER_VOICE,
    )
    return Judged(fit, evidence, seen, float(agree.mean()))
