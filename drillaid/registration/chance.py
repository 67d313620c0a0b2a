"""How much of the copper seems to agree where it is not: the level that a right place must exceed.

Measured in each picture, since wood grain, scratches and another board have edges, too: the
copper is laid at several places beside its own, fitted there as it was at its own, and judged
alike. All places at once, or the many small steps would cost more than the search itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.geometry import Affine
from drillaid.registration.copper import FEW, MANY, some
from drillaid.registration.edging import FEWEST, ROUNDS, known_of_prints, rows_of, weighed
from drillaid.registration.stretches import (
    Stretches,
    clear_steps,
    lines_across,
    steps_of,
    whole_stretches,
)
from drillaid.vision.contours import EdgeModel, read_edges
from drillaid.vision.eye import Eye, inside
from drillaid.vision.sampling import sample

PLACES, NEAREST_MM, FARTHEST_MM = 8, 1.6, 6.0
LEAST_CHANCE = 0.1  # however smooth the bench beside the board may be
LEAST_IN_VIEW = 60  # edge points, of which to say anything
REACHES_MM = (0.3, 0.3)


def chance_of(eye: Eye, to_px, model: EdgeModel, placement: Affine, px_per_mm: float, seed: int = 0) -> float:
    """The share of edges that agree where the copper is not: more than at most places near by.

    to_px: plane -> pixels; placement: design mm -> plane, the copper's own
    """
    rng = np.random.default_rng(seed)
    few = whole_stretches(some(model, MANY), FEW)
    starts = []
    for _ in range(PLACES):
        angle, length = rng.uniform(0, 2 * np.pi), rng.uniform(NEAREST_MM, FARTHEST_MM)
        step = Affine.from_parts(offset=length * np.array([np.cos(angle), np.sin(angle)]))
        starts.append((placement @ step).matrix)
    shares = _Aside(eye, to_px, few, np.array(starts), px_per_mm).shares()
    return float(np.clip(np.mean(shares) + np.std(shares), LEAST_CHANCE, 0.95))


@dataclass(frozen=True, eq=False)
class _Fits:
    """At K places: matrix (K, 2, 3); etch (K,) mm; polarity (K,); sound (K,) bool"""

    matrix: np.ndarray
    etch: np.ndarray
    polarity: np.ndarray
    sound: np.ndarray


class _Aside:
    """M edge points laid at K places; starts: (K, 2, 3) model mm -> plane."""

    def __init__(self, eye: Eye, to_px, model: EdgeModel, starts: np.ndarray, px_per_mm: float) -> None:
        self.eye, self.to_px, self.model, self.px_per_mm = eye, to_px, model, px_per_mm
        self.starts, self.shape = starts, (len(starts), len(model))
        everywhere = np.broadcast_to(model.xy, (*self.shape, 2))
        self.seen = inside(eye.size_px, to_px(_laid(starts, everywhere)), 2.0).reshape(self.shape)
        self.enough = self.seen.sum(axis=1) >= LEAST_IN_VIEW
        low, high = (
            [edge(model.xy[s], axis=0) if s.any() else np.zeros(2) for s in self.seen]
            for edge in (np.min, np.max)
        )
        self.size = np.maximum((np.array(high) - low).max(axis=1), 1.0)
        self.middle = (self.seen @ model.xy) / np.maximum(self.seen.sum(axis=1), 1)[:, None]

    def shares(self) -> np.ndarray:
        """(K,) of the stretches of edge in view those that seem to be there."""
        if not self.enough.any():
            return np.full(len(self.starts), LEAST_CHANCE)
        fits = _Fits(self.starts, *np.zeros((2, len(self.starts))), self.enough)
        for reach in REACHES_MM:
            fits = self._fitted(fits, reach)
        return self._judged(fits)

    def _fitted(self, fits: _Fits, reach: float) -> _Fits:
        """Every place made better by the edges read within reach, as `edging.fit_edges` does."""
        model, eye = self.model, self.eye
        normal = np.broadcast_to(model.normal, (*self.shape, 2))
        shifted = model.xy + normal * fits.etch[:, None, None]
        got = read_edges(
            eye.grey, lambda xy: self.to_px(_laid(fits.matrix, xy.reshape(-1, *shifted.shape))),
            EdgeModel(shifted.reshape(-1, 2), normal.reshape(-1, 2)), reach,
            noise=eye.noise, px_per_unit=self.px_per_mm,
        )  # fmt: skip
        off, step, clear = (part.reshape(self.shape) for part in (got.off, got.step, got.clear))
        clear &= self.seen
        polarity = np.where((step * (clear & (np.abs(off) < reach))).sum(axis=1) >= 0, 1.0, -1.0)
        usable = clear & (np.sign(step) == polarity[:, None])
        sound = fits.sound & (usable.sum(axis=1) >= FEWEST)
        rows = np.array(
            [rows_of(model.xy, model.normal, m, s) for m, s in zip(self.middle, self.size, strict=True)]
        )
        known = np.array([known_of_prints(float(size), True) for size in self.size])
        steps = _solved(rows, off, usable, reach, known)
        return _Fits(self._moved(fits.matrix, steps), fits.etch + steps[:, 6], polarity, sound)

    def _moved(self, matrix: np.ndarray, steps: np.ndarray) -> np.ndarray:
        """As `edging.moved`, of each place."""
        linear = np.eye(2) + steps[:, 2:6].reshape(-1, 2, 2) / self.size[:, None, None]
        offset = self.middle + steps[:, :2] - np.einsum("kij,kj->ki", linear, self.middle)
        before = matrix[:, :, :2]
        moved = np.einsum("kij,kj->ki", before, offset) + matrix[:, :, 2]
        return np.concatenate([before @ linear, moved[..., None]], axis=2)

    def _judged(self, fits: _Fits) -> np.ndarray:
        place, point = np.nonzero(self.seen & fits.sound[:, None])
        shares = np.full(len(self.starts), LEAST_CHANCE)
        if not len(place):
            return shares
        xy, normal = self.model.xy[point], self.model.normal[point]
        shifted = EdgeModel(xy + normal * fits.etch[place, None], normal)
        matrix = fits.matrix[place]
        lines = lines_across(
            lambda xy: self.to_px(_laid(matrix, xy.reshape(-1, len(place), 1, 2))), shifted
        )
        groups = Stretches.of(EdgeModel(xy, normal), place)
        of_place = np.empty(groups.count, np.intp)
        of_place[groups.cell] = place
        profile = groups.mean(sample(self.eye.grey, lines)) * fits.polarity[of_place][:, None]
        steps = steps_of(profile, self.px_per_mm)
        for k in np.flatnonzero(fits.sound):
            shares[k] = clear_steps(steps[of_place == k]).mean()
        return shares


def _laid(matrix: np.ndarray, xy: np.ndarray) -> np.ndarray:
    """(..., 2) flattened to (n, 2): points (..., K, M, 2), those of each place by its own matrix."""
    out = np.empty(xy.shape)
    for k in (0, 1):
        out[..., k] = matrix[:, k, :1] * xy[..., 0] + matrix[:, k, 1:2] * xy[..., 1] + matrix[:, k, 2:]
    return out.reshape(-1, 2)


def _solved(rows, off, usable, reach: float, known) -> np.ndarray:
    """(K, 7): robust least squares as in `edging`, at every place; rows (K, M, 7), known (K, 7, 7)."""
    columns = np.ascontiguousarray(rows.transpose(0, 2, 1))
    count = usable.sum(axis=1)
    each, middle = np.arange(len(off)), np.minimum(count // 2, off.shape[1] - 1)
    off = np.where(usable, off, 0.0)
    weight, scale = usable.astype(float), np.full(len(off), reach / 2)
    for _ in range(ROUNDS):
        weighted = columns * weighed(weight, scale[:, None])[:, None]
        right = weighted @ off[..., None]
        step = np.linalg.solve(weighted @ rows + known, right)[..., 0]
        residual = off - (step[:, None] @ columns)[:, 0]
        away = np.sort(np.where(usable, np.abs(residual), np.inf), axis=1)[each, middle]
        scale = np.clip(1.4826 * np.where(np.isfinite(away), away, reach), 0.008, reach / 2)
        weight = np.square(np.maximum(1 - np.square(residual / (4.0 * scale[:, None])), 0.0)) * usable
    return step
