"""The last step of a placement: all edges of the copper at once, none of them read alone.

Read alone (`vision/contours.read_edges`) an edge is the steepest place within reach; in
faint, blotched or littered pictures that is often something else, and counts for a whole
edge. Here the change of brightness across every edge counts as it is, with its sign and
its size, seen through a soft window about its place; the placement sought is the one
under which what is seen lies in the middle of its windows. Noise and texture have both
signs and cancel over the thousands. (The maximum of a sum under a kernel by mean shift:
K. Fukunaga and L. Hostetler, IEEE Transactions on Information Theory 21(1), 1975; from
memory.)
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from drillaid.geometry import Affine
from drillaid.registration.edging import (
    CELL_MM,
    LEFT_OUT,
    EdgeFit,
    blocks_of,
    fit_edges,
    jackknife,
    moved,
    of_matrix,
    rows_of,
)
from drillaid.registration.fit import PRINT
from drillaid.vision.contours import EdgeModel
from drillaid.vision.sampling import along_lines, sample

WINDOW_MM = 0.1  # one sigma; nearer windows tell less of blurred edges, wider ones see neighbours
BLURRED, WIDER = 0.27, 1.4  # windows that give back less of a shift than that become so much wider
REACH = 2.8  # windows
STEP_PX = 0.6  # between samples across an edge
STEEPEST = 1.2  # of the usual steepness: more is swarf, a scratch or a drop of glare
TURNS, SETTLED_MM, ASTRAY_MM = 8, 0.002, 0.3
PROBE_MM, LEAST_GAIN = 0.03, 0.1
ETCH_MM = 0.1  # one sigma, of all edges alike
# Blur pushes the two edges of a narrow gap or line apart, as if it were etched otherwise than
# the rest; taken for etching, that stretched boards of which little but a frame is seen by
# 0.13 mm. So both kinds have an etching of their own: one sigma, and from how many edges on.
NARROW_ETCH_MM, FEWEST_NARROW = 0.05, 30

# Glare or a hand's shadow shifts the edges of a whole region alike, and where only two
# sides of a pour are seen, etch and shift are one: no scatter within cells shows either.
# So parts of the board are left out, and sides that edges face; the scatter of cells, which
# is known far better, counts as well. And the edges read one by one are misled by other
# things than all of them together, so what the two differ by counts, once those read alone
# have started from the same place. The shares were the likeliest ones on 200 simulated
# benches, ordinary and hard (bench_registration.py holds the sum on others).
BLOCK_SHARE, SIDE_SHARE, CELL_SHARE, APART_SHARE = 0.40, 0.20, 0.90, 0.35
LEAST_TELLING = 0.5  # a frame alone still has four sides, and sides have ends
AGAIN = (0.2, 0.2)  # mm within which the edges are then read alone


@dataclass(frozen=True, eq=False)
class _Seen:
    """What lies in the windows: weight (M,) of each edge and its first moment (M,), mm."""

    weight: np.ndarray
    moment: np.ndarray


@dataclass(frozen=True, eq=False)
class _Equations:
    """inner @ step = right, in units of their own variance, prints included; known: (K, K)
    the prints' share of inner. K is 7, as `rows_of` counts, and one for each kind of narrow edge."""

    inner: np.ndarray
    right: np.ndarray
    known: np.ndarray

    @property
    def step(self) -> np.ndarray:
        return np.linalg.solve(self.inner, self.right)


def settle(
    grey, to_px, model: EdgeModel, fit: EdgeFit, px_per_mm: float, *, noise: float,
    telling: float = 1.0,
) -> EdgeFit:  # fmt: skip
    """`fit` made more exact; where the edges taken together do not hold it, it stays, and its
    place counts as known to ASTRAY_MM only.

    grey: float32 (H, W); to_px: plane -> pixels as photographed
    model: the edges in view; noise: as for `fit_edges`
    telling: as in `Stretches`, mean: edges on one long line share their errors, so that
    where they are many the variance is so much larger

    The covariance counts what leaving out a part of the board, or the edges that face one
    side, would change; the scatter of the edges, with what is known of prints where those in
    view tell less; and how far edges read one by one are from all of them together.
    """
    work = _Settling(grey, to_px, model, fit, px_per_mm)
    placement, etch = fit.placement, work.etched(fit.etch_mm)
    gain = None
    for _ in range(TURNS):
        seen = work.at(placement, etch)
        if gain is None:
            gain = work.gain(placement, etch, seen)
            if gain < BLURRED:
                work.look_within(WIDER * WINDOW_MM)
                seen = work.at(placement, etch)
                gain = work.gain(placement, etch, seen)
        equations = work.equations(seen, placement, etch, gain)
        if equations is None:
            return _hardly_known(fit)
        step = equations.step
        placement, etch = work.stepped(placement, step), etch + step[6:]
        if work.astray(fit, placement):
            return _hardly_known(fit)
        if np.abs(step).max() < SETTLED_MM:
            break

    def doubt() -> np.ndarray:
        inner = work.covariance(seen, equations, gain)
        alone = fit_edges(
            grey, to_px, model, placement, noise=noise, px_per_mm=px_per_mm, reaches=AGAIN
        )
        other = fit if alone is None else alone
        apart = APART_SHARE * (placement.matrix - other.placement.matrix).ravel()
        told = of_matrix(inner, placement, work.middle, work.size) + np.outer(apart, apart)
        return told / max(telling, LEAST_TELLING)

    return replace(fit, placement=placement, doubt=doubt, **work.told_etch(etch))


def _hardly_known(fit: EdgeFit) -> EdgeFit:
    astray = np.diag([0, 0, 1, 0, 0, 1]) * ASTRAY_MM**2
    return replace(fit, doubt=lambda: fit.covariance + astray)


class _Settling:
    """The edges' places and windows, the same at every turn."""

    def __init__(self, grey, to_px, model: EdgeModel, fit: EdgeFit, px_per_mm: float) -> None:
        self.px_per_mm = px_per_mm
        self.look_within(WINDOW_MM)
        self.grey, self.to_px, self.model, self.polarity = grey, to_px, model, fit.polarity
        self.middle = model.xy.mean(axis=0)
        self.size = max(float(np.ptp(model.xy, axis=0).max()), 1.0)
        self.rows = rows_of(model.xy, model.normal, self.middle, self.size)
        self.kinds = np.zeros(2, bool)  # of `EdgeModel.narrow`, those that are asked for
        if model.narrow is not None:
            self.kinds = model.narrow.sum(axis=0) >= FEWEST_NARROW
            self.rows = np.hstack([self.rows, model.narrow[:, self.kinds]])
        cell = np.floor(model.xy / CELL_MM).astype(np.int64)
        _, self.cell = np.unique(cell[:, 0] * 100_003 + cell[:, 1], return_inverse=True)
        turn = np.arctan2(model.normal[:, 1], model.normal[:, 0]) / (2 * np.pi)
        self.parts = (
            (blocks_of(model.xy, LEFT_OUT), BLOCK_SHARE),
            (np.floor(LEFT_OUT * (turn % 1.0)).astype(int) % LEFT_OUT, SIDE_SHARE),
        )

    def look_within(self, window_mm: float) -> None:
        """From now on; one sigma."""
        self.window_mm, reach = window_mm, REACH * window_mm
        count = int(np.clip(np.ceil(2 * reach * self.px_per_mm / STEP_PX), 8, 64)) | 1
        self.t = np.linspace(-reach, reach, count)
        self.window = np.exp(-0.5 * (self.t / window_mm) ** 2)

    def etched(self, etch_mm: float) -> np.ndarray:
        """(1 ... 3,) of all edges alike, and what those across narrow gaps and copper add."""
        etch = np.zeros(self.rows.shape[1] - 6)
        etch[0] = etch_mm
        return etch

    def told_etch(self, etch: np.ndarray) -> dict:
        """As `EdgeFit` has it."""
        more = np.zeros(2)
        more[self.kinds] = etch[1:]
        return {"etch_mm": float(etch[0]), "narrow_etch_mm": (float(more[0]), float(more[1]))}

    def at(self, placement: Affine, etch: np.ndarray) -> _Seen:
        normal, n = self.model.normal, len(self.model)
        xy = self.model.xy + normal * (self.rows[:, 6:] @ etch)[:, None]
        across = self.window_mm * normal
        ends = self.to_px(placement(np.concatenate([xy + across, xy - across])))
        middle, along = (ends[:n] + ends[n:]) / 2, (ends[:n] - ends[n:]) / (2 * self.window_mm)
        values = sample(self.grey, along_lines(middle, along, self.t))
        slope = np.zeros_like(values)
        slope[:, 1:-1] = (values[:, 2:] - values[:, :-2]) * np.float32(self.polarity / 2)
        slope[:, 1:-1] = 0.25 * slope[:, :-2] + 0.5 * slope[:, 1:-1] + 0.25 * slope[:, 2:]
        window = self.window.astype(np.float32)
        most = STEEPEST * float(np.median((np.abs(slope) * window).max(axis=1)))
        seen = np.clip(slope, -most, most) @ np.column_stack([window, window * self.t])
        return _Seen(seen[:, 0].astype(np.float64), seen[:, 1].astype(np.float64))

    def gain(self, placement: Affine, etch: float, seen: _Seen) -> float:
        """How much of a known shift the windows give back: what is seen is drawn to their middle."""
        probe = np.zeros(self.rows.shape[1])
        probe[:2] = PROBE_MM
        beside = self.at(self.stepped(placement, probe), etch)
        inner = self._inner(seen)
        try:
            here, there = (np.linalg.solve(inner, self.rows.T @ s.moment) for s in (seen, beside))
        except np.linalg.LinAlgError:
            return 1.0
        return float(np.clip((here - there) @ probe / (probe @ probe), LEAST_GAIN, 1.0))

    def _inner(self, seen: _Seen) -> np.ndarray:
        return self.rows.T @ (self.rows * seen.weight[:, None])

    def equations(self, seen: _Seen, placement: Affine, etch: float, gain: float) -> _Equations | None:
        """None where what is seen does not hold the placement in every direction."""
        inner, right = gain * self._inner(seen), self.rows.T @ seen.moment
        if np.linalg.eigvalsh(inner)[0] <= 0:
            return None
        # Neighbours share their errors, so the scatter is that of cells (P. Huber 1967,
        # Liang & Zeger 1986: the sandwich covariance; from memory).
        left = seen.moment - gain * seen.weight * (self.rows @ np.linalg.solve(inner, right))
        scores = np.zeros((self.cell.max() + 1, self.rows.shape[1]))
        np.add.at(scores, self.cell, self.rows * left[:, None])
        variance = max(float(np.trace(np.linalg.solve(inner, scores.T @ scores))) / len(inner), 1e-12)
        known, away = self._prints(placement, etch)
        return _Equations(inner / variance + known, right / variance - known @ away, known)

    def _prints(self, placement: Affine, etch: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """(precision (K, K), where (K,) the placement is from a true print): as in `fit.PRINT`."""
        left, stretch, right = np.linalg.svd(placement.linear)
        strain = (right.T * stretch) @ right - np.eye(2)
        away = np.concatenate([[0.0, 0.0], strain.ravel() * self.size, etch])
        known = np.zeros((3 + len(etch), len(away)))
        known[0, [2, 5]] = 0.5 / (PRINT["scale"] * self.size)
        known[1, [2, 5]] = np.array([1.0, -1.0]) / (PRINT["stretch"] * self.size)
        known[2, [3, 4]] = 1.0 / (PRINT["shear"] * self.size)
        known[3, 6] = 1.0 / ETCH_MM
        for k in range(1, len(etch)):
            known[3 + k, 6 + k] = 1.0 / NARROW_ETCH_MM
        return known.T @ known, away

    def stepped(self, placement: Affine, step: np.ndarray) -> Affine:
        return moved(placement, step[:7], self.middle, self.size)

    def astray(self, fit: EdgeFit, placement: Affine) -> bool:
        """So far away that it is no longer the place that was found."""
        apart = placement(self.model.xy) - fit.placement(self.model.xy)
        return bool(np.abs(apart).max() > ASTRAY_MM)

    def covariance(self, seen: _Seen, equations: _Equations, gain: float) -> np.ndarray:
        """(6, 6) of shift and linear part, as in `edging`: parts of the board and sides of the
        edges left out in turn (J. Tukey 1958), and the scatter of cells with what prints leave."""
        variance_free = equations.inner - equations.known
        whole = gain * self._inner(seen)
        scale = np.trace(variance_free) / np.trace(whole)
        total = np.zeros((6, 6))
        for part, share in self.parts:
            steps = []
            for k in range(LEFT_OUT):
                here = part == k
                rows, weight = self.rows[here], seen.weight[here]
                inner = equations.inner - scale * gain * (rows.T @ (rows * weight[:, None]))
                right = equations.right - scale * (rows.T @ seen.moment[here])
                steps.append(np.linalg.solve(inner, right)[:6])
            total += jackknife(np.array(steps)) * share**2
        return total + CELL_SHARE**2 * np.linalg.inv(equations.inner)[:6, :6]
