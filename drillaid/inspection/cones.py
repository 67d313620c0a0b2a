"""Least worst distances: the second-order cone programme behind "does it go in?".

For discs of radius k_i about given centres and points that move with three unknowns,

    min over x, s of  s   such that  |B_i x + o_i| <= s + k_i  for all i,

solved by a barrier method to a proven gap. Many problems of one shape are solved
side by side, because a probability asks the same question a thousand times.

Source: Boyd and Vandenberghe, Convex Optimization, 2004, section 11.3; each cone has
barrier parameter 2, so after centring at weight w the gap is at most 2 N / w.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

GAP_MM = 1e-7  # far below any drill
_FIRST_WEIGHT, _GROWTH = 120.0, 12.0
_STEPS = 60  # Newton steps at one weight; eight or so are usual
_NEAR = 3.0  # times what is lacking: cones with more room than that are left out at first
_CENTRED = 1e-9  # half the squared Newton decrement, against a barrier of size N


@dataclass(frozen=True, eq=False)
class LeastWorst:
    """x: (D, 3); worst: (D,), s at x, at most GAP_MM above the least possible

    weights: (D, N), how hard each cone pushes: >= 0, sum 1; the change of `worst` when
    k_i grows by one is -weights_i, and when o_i moves it is weights_i times the unit
    vector of B_i x + o_i (the envelope theorem)
    """

    x: np.ndarray
    worst: np.ndarray
    weights: np.ndarray


def least_worst(blocks, offsets, radii, gap_mm: float = GAP_MM) -> LeastWorst:
    """blocks: (N, 2, 3); offsets: (D, N, 2); radii: (D, N)"""
    barrier = _Barrier(blocks, offsets, radii)
    weight = _FIRST_WEIGHT
    barrier.centre(weight)
    while barrier.gap(weight) > gap_mm:
        weight *= _GROWTH
        barrier.centre(weight)
    u, room, inside = barrier.state()
    weights = 2 * room / (weight * inside)
    return LeastWorst(barrier.x, barrier.s, weights / weights.sum(axis=1, keepdims=True))


def can_be_met(blocks, offsets, radii, gap_mm: float = 1e-5) -> np.ndarray:
    """Whether the least worst is 0 or below, (D,) bool; shapes as in `least_worst`.

    Cones that are never near their edge when x = 0 are left out at first: without them
    a no stays a no, and a yes is held against all of them. Within gap_mm of the edge
    the answer is no.
    """
    blocks, offsets, radii = (np.asarray(a, dtype=np.float64) for a in (blocks, offsets, radii))
    room = radii - np.hypot(offsets[..., 0], offsets[..., 1])
    met = room.min(axis=1) >= 0
    rest = np.flatnonzero(~met)
    near = np.flatnonzero(
        (room[rest] < _NEAR * np.abs(room[rest].min(axis=1, keepdims=True))).any(axis=0)
    )
    for cones in (near, np.arange(len(blocks))):
        if not len(rest):
            break
        state, x = _decided(blocks[cones], offsets[rest][:, cones], radii[rest][:, cones], gap_mm)
        u = np.einsum("nij,dj->dni", blocks, x) + offsets[rest]
        inside = (np.hypot(u[..., 0], u[..., 1]) <= radii[rest]).all(axis=1)
        met[rest[inside]] = True
        rest = rest[state & ~inside]
    return met


def _decided(blocks, offsets, radii, gap_mm: float) -> tuple[np.ndarray, np.ndarray]:
    """((D,) whether all cones can be met, (D, 3) a point that does it).

    Each problem is dropped as soon as a point proves it or the gap disproves it.
    """
    state, x = np.zeros(len(offsets), dtype=bool), np.zeros((len(offsets), 3))
    waiting = np.arange(len(offsets))
    barrier = _Barrier(blocks, offsets, radii)
    weight = _FIRST_WEIGHT
    while len(waiting):
        barrier.centre(weight, enough=0.0)
        good = barrier.s <= 0
        state[waiting[good]], x[waiting[good]] = True, barrier.x[good]
        gap = barrier.gap(weight)
        if gap < gap_mm:
            break
        undecided = ~good & (barrier.s - gap <= 0)
        waiting, barrier = waiting[undecided], barrier.only(undecided)
        weight *= _GROWTH
    return state, x


class _Barrier:
    """The state of D problems: x (D, 3) and s (D,), always strictly inside all cones."""

    def __init__(self, blocks, offsets, radii, start=None) -> None:
        self.blocks = np.asarray(blocks, dtype=np.float64)
        self.offsets = np.asarray(offsets, dtype=np.float64)
        self.radii = np.asarray(radii, dtype=np.float64)
        self.flat = self.blocks.reshape(-1, 3).T
        # B_i^T B_i, flat, so that the curvature of all cones is one matrix product
        self.squares = np.einsum("nij,nik->njk", self.blocks, self.blocks).reshape(-1, 9)
        if start is not None:
            self.x, self.s = start
            return
        lengths = np.hypot(self.offsets[..., 0], self.offsets[..., 1])
        self.x = np.zeros((len(self.offsets), 3))
        self.s = (lengths - self.radii).max(axis=1) + 0.05 + 0.1 * lengths.max(axis=1)

    def only(self, rows) -> _Barrier:
        start = self.x[rows], self.s[rows]
        return _Barrier(self.blocks, self.offsets[rows], self.radii[rows], start)

    def gap(self, weight: float) -> float:
        return 2 * len(self.blocks) / weight

    def state(self, x=None, s=None):
        """(B x + o, s + k, what is left inside each cone)."""
        x, s = (self.x, self.s) if x is None else (x, s)
        u = (x @ self.flat).reshape(self.offsets.shape) + self.offsets
        room = s[:, None] + self.radii
        return u, room, room**2 - u[..., 0] ** 2 - u[..., 1] ** 2

    def value(self, x, s, weight: float) -> np.ndarray:
        _, room, inside = self.state(x, s)
        good = ((room > 0) & (inside > 0)).all(axis=1)
        logs = np.log(np.where(good[:, None], inside, 1.0)).sum(axis=1)
        return np.where(good, weight * s - logs, np.inf)

    def centre(self, weight: float, enough: float = -np.inf) -> None:
        """Newton's method, for each problem until s is `enough` or the centre is reached."""
        moving = self.s > enough
        for _ in range(_STEPS):
            if not moving.any():
                return
            part = self if moving.all() else self.only(moving)
            step, decrement = part.newton(weight)
            x, s, went = part.searched(step, decrement, weight)
            self.x[moving], self.s[moving] = x, s
            moving[np.flatnonzero(moving)] = went & (decrement > _CENTRED) & (s > enough)

    def newton(self, weight: float) -> tuple[np.ndarray, np.ndarray]:
        """The step (D, 4) in (x, s) and what it is expected to gain, twice over."""
        u, room, inside = self.state()
        grads = np.empty((*room.shape, 4))
        grads[..., 0:3] = u[..., 0:1] * self.blocks[:, 0] + u[..., 1:2] * self.blocks[:, 1]
        grads[..., 3] = -room
        grads *= (2 / inside)[..., None]
        hessian = grads.transpose(0, 2, 1) @ grads
        hessian[:, :3, :3] += ((2 / inside) @ self.squares).reshape(-1, 3, 3)
        hessian[:, 3, 3] -= (2 / inside).sum(axis=1)
        # a lone pin has no turn: nothing holds it but this
        trace = np.trace(hessian, axis1=1, axis2=2)
        hessian += (1e-14 * trace)[:, None, None] * np.eye(4)
        gradient = grads.sum(axis=1)
        gradient[:, 3] += weight
        step = -np.linalg.solve(hessian, gradient[..., None])[..., 0]
        return step, -(gradient * step).sum(axis=1)

    def searched(self, step, decrement, weight: float):
        """(x, s, whether it went anywhere) after backtracking from the full step."""
        start = self.value(self.x, self.s, weight)
        x, s = self.x.copy(), self.s.copy()
        waiting, length = np.ones(len(x), dtype=bool), 1.0
        while length > 1e-10 and waiting.any():
            trial_x = self.x + length * step[:, :3]
            trial_s = self.s + length * step[:, 3]
            good = waiting & (
                self.value(trial_x, trial_s, weight) < start - 0.1 * length * decrement
            )
            x[good], s[good] = trial_x[good], trial_s[good]
            waiting &= ~good
            length /= 2
        return x, s, ~waiting
