"""Is it still the board, though most of it is hidden?

A hand hides patches as a whole and leaves others as they were; a wrong place agrees
a little everywhere. So patches are asked, not edges: with p1 the share of edges that
agree on a patch in view and p0 by accident, a patch of n edges of which k agree
speaks for the board by ln(1 - v + v (p1/p0)^k ((1 - p1)/(1 - p0))^(n - k)), v being
the share of patches in view that explains the picture best.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.geometry import Affine
from drillaid.registration.edging import AGREE_MM
from drillaid.registration.learnt import Learnt
from drillaid.vision.contours import EdgeModel, read_edges

PATCH_MM, FEWEST = 5.0, 3  # edges that make a patch worth asking
ALIKE = 3.0  # so many neighbouring edges say one thing
ENOUGH, AHEAD = 10.0, 2.0  # ln; and so many times what places beside it reach
LEAST_VIEW = 0.15  # of the patches
REACH_MM = 0.2
BESIDE = 6  # places it is held against


def shown(image, to_px, px_per_mm: float, learnt: Learnt, place: Affine) -> np.ndarray | None:
    """(M,) bool, the learnt edges on patches that show the board at `place`; None where the
    patches do not speak for it, or as much for places beside it.

    to_px: plane -> pixels
    """
    rng, places = np.random.default_rng(3), [place]
    for _ in range(BESIDE):
        angle, length = rng.uniform(0, 2 * np.pi), rng.uniform(1.2, 5.0)
        step = length * np.array([np.cos(angle), np.sin(angle)])
        places.append(place @ Affine.from_parts(offset=step))
    group = _patches(learnt)
    here, *beside = (
        _support(agree, group, learnt)
        for agree in _agreeing(image, to_px, px_per_mm, learnt, places)
    )
    if here.ln < ENOUGH or here.view < LEAST_VIEW:
        return None
    if any(AHEAD * there.ln > here.ln for there in beside):
        return None
    return here.shown[group]


@dataclass(frozen=True, eq=False)
class _Support:
    """ln: likelihood ratio; view: share of patches that are in view; shown: by patch, bool"""

    ln: float
    view: float
    shown: np.ndarray


def _patches(learnt: Learnt) -> np.ndarray:
    """(M,) the patch that each edge lies on."""
    cell = np.floor(learnt.model.xy / PATCH_MM).astype(np.int64)
    return np.unique(cell[:, 0] * 100_003 + cell[:, 1], return_inverse=True)[1].ravel()


def _agreeing(image, to_px, px_per_mm: float, learnt: Learnt, places: list[Affine]) -> np.ndarray:
    """(P, M) bool: the edges that agree at each place, read at once."""
    model, many = learnt.model, len(places)

    def placed(xy) -> np.ndarray:
        each = xy.reshape(-1, many, len(model), 2)
        there = [place(each[:, k].reshape(-1, 2)) for k, place in enumerate(places)]
        return np.stack([t.reshape(-1, len(model), 2) for t in there], axis=1).reshape(-1, 2)

    every = EdgeModel(np.tile(model.xy, (many, 1)), np.tile(model.normal, (many, 1)))
    got = read_edges(
        image, lambda xy: to_px(placed(xy)), every, REACH_MM, noise=learnt.noise,
        px_per_unit=px_per_mm, weights=learnt.weights,
    )  # fmt: skip
    return (got.clear & (np.abs(got.off) < AGREE_MM)).reshape(many, len(model))


def _support(agree: np.ndarray, group: np.ndarray, learnt: Learnt) -> _Support:
    """agree: (M,) the edges that do"""
    count, seen = np.bincount(group), np.bincount(group, weights=agree)
    p1, p0 = float(np.clip(learnt.share, 0.7, 0.95)), float(np.clip(learnt.chance, 0.1, 0.6))
    ratio = (seen * np.log(p1 / p0) + (count - seen) * np.log((1 - p1) / (1 - p0))) / ALIKE
    asked = count >= FEWEST
    views = np.linspace(0.0, 0.95, 20)
    total = np.log(1 - views[:, None] + views[:, None] * np.exp(ratio[asked])).sum(axis=1)
    best = int(total.argmax())
    view = float(views[best])
    # Likelier in view than not, by Bayes' rule.
    return _Support(float(total[best]), view, view * np.exp(ratio) > 1 - view)
