"""Placements judged by the design's own copper: every edge of it, not only the pads.

Holes alone leave twins (a row moved by a pitch, a board turned by half a turn);
copper rarely does. The chance level is measured: the same copper laid at wrong
places of the same picture finds some edges too, and a right place must find far
more.
"""

from __future__ import annotations

import weakref
from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.design.model import Copper
from drillaid.geometry import Affine
from drillaid.registration.edging import CELL_MM, EdgeFit, fit_edges
from drillaid.registration.evidence import COPPER_ENOUGH, Evidence
from drillaid.vision.channel import grey_of, weights_between
from drillaid.vision.contours import EdgeModel, edge_model_of
from drillaid.vision.eye import Eye
from drillaid.vision.sampling import sample

SPACING_MM = 0.4
FEW, MANY = 500, 2500  # edge points to rank with, and to settle with
# Readings of one cell share their errors; and two cells of one track do, a little.
CELLS_PER_VOICE = 2.0
SEEN_REACH_MM, SEEN_STEP_MM = 0.42, 0.04  # across a stretch of edge
SEEN_MM = 0.13  # a stretch this near to its place is the one meant
RUN_ANGLE_RAD, RUN_WIDTH_MM, RUN_GAP_MM = np.radians(8.0), 0.4, 1.3
TELLING_MM = 3.0  # a straight run longer than this tells no more than one of this length
FAINT_SHARE = 0.2  # of the clear stretches' steepness, below which it is texture

_models: weakref.WeakKeyDictionary[Copper, EdgeModel] = weakref.WeakKeyDictionary()


def copper_edges(copper: Copper) -> EdgeModel:
    """All edges of one face's copper, design mm; worked out once for each Copper."""
    model = _models.get(copper)
    if model is None:
        model = edge_model_of(copper.mask, copper.to_design, copper.px_per_mm, spacing=SPACING_MM)
        _models[copper] = model
    return model


def some(model: EdgeModel, count: int, seed: int = 0) -> EdgeModel:
    """A seeded draw of at most `count` edge points."""
    if len(model) <= count:
        return model
    return model.only(np.random.default_rng(seed).permutation(len(model))[:count])


def whole_stretches(model: EdgeModel, count: int, seed: int = 0) -> EdgeModel:
    """A seeded draw of whole stretches of edge, together about `count` points.

    A stretch is judged by all its points: with fewer in each it would be seen less well."""
    if len(model) <= count:
        return model
    groups = Stretches.of(model)
    share = count / len(model)
    kept = np.random.default_rng(seed).random(groups.count) < share
    return model.only(kept[groups.cell])


def sharper_eye(image: np.ndarray, to_px, model: EdgeModel, placement, aside_mm=0.22) -> Eye:
    """The photograph in the mixture of colours that tells copper from bare board best here.

    image: uint8 BGR; colours are taken on both sides of the edges as `placement` has them
    """
    sides = []
    for sign in (1.0, -1.0):
        px = to_px(placement(model.xy + sign * aside_mm * model.normal))
        height, width = image.shape[:2]
        with np.errstate(invalid="ignore"):
            u, v = np.nan_to_num(np.rint(px), nan=-1).astype(int).T
        inside = (u >= 0) & (v >= 0) & (u < width) & (v < height)
        sides.append(image[v[inside], u[inside]].astype(np.float64))
    if min(len(side) for side in sides) < 30:
        grey = grey_of(image)
    else:
        grey = grey_of(image, weights_between(*sides))
    return Eye(grey.image, grey.noise)


@dataclass(frozen=True, eq=False)
class Judged:
    """A placement (design mm -> plane) with the edges' verdict; share: of the stretches in view."""

    fit: EdgeFit
    evidence: Evidence
    in_view: np.ndarray
    share: float


def visible(eye: Eye, to_px, model: EdgeModel, placement) -> np.ndarray:
    """(M,) bool: edge points that fall inside the picture under `placement`."""
    px = to_px(placement(model.xy))
    width, height = eye.size_px
    with np.errstate(invalid="ignore"):
        return (px[:, 0] > 2) & (px[:, 1] > 2) & (px[:, 0] < width - 3) & (px[:, 1] < height - 3)


@dataclass(frozen=True, eq=False)
class Stretches:
    """Edge points in groups that are seen as one.

    cell: (M,) the group of each; count: of groups; weight: (count,) how telling a group is:
    the frame of a pour, which any board of that size may have, says little for its length
    """

    cell: np.ndarray
    count: int
    weight: np.ndarray

    @classmethod
    def of(cls, model: EdgeModel) -> Stretches:
        """By squares of CELL_MM."""
        square = np.floor(model.xy / CELL_MM).astype(np.int64)
        _, cell = np.unique(square[:, 0] * 100_003 + square[:, 1], return_inverse=True)
        count = int(cell.max()) + 1 if len(cell) else 0
        telling = np.minimum(1.0, TELLING_MM / np.maximum(straight_runs_mm(model), 1e-6))
        size = np.maximum(np.bincount(cell, minlength=count), 1)
        return cls(cell, count, np.bincount(cell, telling, count) / size)

    @property
    def voices(self) -> float:
        """How many independent readings they amount to."""
        return self.count / CELLS_PER_VOICE

    def mean(self, values: np.ndarray) -> np.ndarray:
        """(count, K) means over the groups of values (M, K)."""
        size = np.maximum(np.bincount(self.cell, minlength=self.count), 1)
        sums = [np.bincount(self.cell, column, self.count) for column in values.T]
        return np.column_stack(sums) / size[:, None]


def straight_runs_mm(model: EdgeModel) -> np.ndarray:
    """(M,) how long the straight run of edge is that each point belongs to."""
    if not len(model):
        return np.zeros(0)
    angle = np.arctan2(model.normal[:, 1], model.normal[:, 0])
    longest = np.zeros(len(model))
    # Half a bin apart twice, so that no run is cut by the limits of the bins.
    for half in (0.0, 0.5):
        heading = np.floor(angle / RUN_ANGLE_RAD + half).astype(np.int64)
        mean = (heading - half + 0.5) * RUN_ANGLE_RAD
        across = model.xy[:, 0] * np.cos(mean) + model.xy[:, 1] * np.sin(mean)
        along = model.xy[:, 1] * np.cos(mean) - model.xy[:, 0] * np.sin(mean)
        for side in (0.0, 0.5):
            row = np.floor(across / RUN_WIDTH_MM + side).astype(np.int64)
            order = np.lexsort((along, row, heading))
            cut = (
                (np.diff(heading[order]) != 0)
                | (np.diff(row[order]) != 0)
                | (np.diff(along[order]) > RUN_GAP_MM)
            )
            run = np.concatenate([[0], np.cumsum(cut)])
            first = np.concatenate([[0], np.flatnonzero(cut) + 1])
            last = np.concatenate([np.flatnonzero(cut), [len(order) - 1]])
            length = along[order[last]] - along[order[first]]
            longest[order] = np.maximum(longest[order], length[run])
    return longest


def voices(model: EdgeModel) -> float:
    """How many independent readings the edge points amount to."""
    return Stretches.of(model).voices


def stretches_seen(eye: Eye, to_px, model: EdgeModel, fit: EdgeFit, px_per_mm: float) -> np.ndarray:
    """(groups,) bool: the stretches of edge that show where `fit` has them.

    The profiles across all edge points of a stretch are averaged before they are read:
    a faint edge adds up over its length, while grain and blotches cancel out.
    """
    groups = Stretches.of(model)
    shifted = EdgeModel(model.xy + model.normal * fit.etch_mm, model.normal)
    t = np.arange(-SEEN_REACH_MM, SEEN_REACH_MM + 1e-9, SEEN_STEP_MM)
    place = fit.placement
    ahead = to_px(place(shifted.xy + 0.1 * shifted.normal))
    middle = to_px(place(shifted.xy))
    px = middle[:, None, :] + (ahead - middle)[:, None, :] / 0.1 * t[None, :, None]
    profile = groups.mean(sample(eye.grey, px)) * fit.polarity
    soft = max(0.35, 0.6 / max(px_per_mm * SEEN_STEP_MM, 1e-6))
    profile = cv2.GaussianBlur(profile, (0, 0), soft * 1.5, sigmaY=1e-6, borderType=cv2.BORDER_REPLICATE)
    slope = np.gradient(profile, axis=1)
    inner = slope[:, 2:-2]
    at = np.abs(inner).argmax(axis=1)
    peak = inner[np.arange(len(inner)), at]
    near = np.abs(t[2:-2][at]) <= SEEN_MM
    right = near & (peak > 0)
    if not right.any():
        return right
    return right & (peak > FAINT_SHARE * np.quantile(peak[right], 0.8))


def judge(
    eye: Eye, to_px, model: EdgeModel, start: Affine, px_per_mm: float, chance: float, *,
    reaches=(0.8, 0.5, 0.3), affine: bool = True,
) -> Judged | None:
    """Fits the edges from `start` and weighs what agrees; None where nothing does."""
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
    agree = stretches_seen(eye, to_px, part, fit, px_per_mm)
    weight = Stretches.of(part).weight
    evidence = Evidence(
        round(agree.sum() / CELLS_PER_VOICE),
        round(len(agree) / CELLS_PER_VOICE),
        chance,
        SEEN_MM,
        float(weight[agree].sum() / weight.sum()),
        COPPER_ENOUGH,
    )
    return Judged(fit, evidence, seen, float(agree.mean()))


def chance_of(eye: Eye, to_px, model: EdgeModel, placement: Affine, px_per_mm: float, seed: int = 0) -> float:
    """The share of edges that agree where the copper is not: the worst of some places near by."""
    rng = np.random.default_rng(seed)
    few = whole_stretches(some(model, MANY), FEW)
    shares = []
    for _ in range(6):
        angle, length = rng.uniform(0, 2 * np.pi), rng.uniform(1.6, 6.0)
        step = Affine.from_parts(offset=length * np.array([np.cos(angle), np.sin(angle)]))
        got = judge(eye, to_px, few, placement @ step, px_per_mm, 0.5, reaches=(0.3, 0.3))
        shares.append(0.05 if got is None else got.share)
    return float(np.clip(np.mean(shares) + 1.5 * np.std(shares), 0.05, 0.95))
