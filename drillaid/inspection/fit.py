"""Does a rigid part go into the holes that were drilled?

A part is a set of pins at fixed places. It goes in where one shift and one turn
bring every pin inside its hole. The largest clearance that the tightest pin can
be given,

    play = max over shift t, turn a of  min over i of  (k_i - |R(a) q_i + t - c_i|),

k_i = hole radius - pin radius, says both: play >= 0, it goes in, and at the best
place it may still move by `play` whichever way; play < 0, it misses by that much.
For a fixed linearisation of the turn this is a second-order cone programme in
four unknowns, solved by a barrier method to a proven gap; the turn is then
linearised anew until it stands still.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from drillaid.geometry import as_points

GAP_MM = 1e-7  # far below any drill; the barrier method proves it


@dataclass(frozen=True)
class Pin:
    """One pin's cross-section: "square" or "flat" (width and depth), or "round" (width)."""

    name: str
    shape: str
    width_mm: float
    depth_mm: float | None = None

    @property
    def round_mm(self) -> float:
        """Diameter of the circle round the section: what a round hole must let in.

        A 0.64 mm square post needs 0.905 mm (0.64 sqrt 2; published by several makers).
        """
        if self.shape == "round":
            return self.width_mm
        depth = self.width_mm if self.depth_mm is None else self.depth_mm
        return math.hypot(self.width_mm, depth)


# Common practice, no source; the thickest first. pitch -> pins in use at it.
PINS: dict[float, tuple[Pin, ...]] = {
    2.54: (
        Pin("0.64 mm square post", "square", 0.64),
        Pin("0.5 x 0.25 mm flat lead", "flat", 0.5, 0.25),
    ),
    2.0: (Pin("0.5 mm square post", "square", 0.5),),
    1.27: (Pin("0.4 mm square post", "square", 0.4),),
    5.08: (Pin("1.0 mm round pin", "round", 1.0), Pin("0.64 mm square post", "square", 0.64)),
}
THIN = Pin("0.5 mm round lead", "round", 0.5)


def default_pin(pitch_mm: float, asked_mm: float, *, rows_apart_mm: float | None = None) -> Pin:
    """The pin to try where the design does not say which part it is.

    The thickest one in use at that pitch for which the hole asked for has room;
    two rows 7.62 mm or more apart hold the flat leads of a dual in-line package.
    """
    pitch = min(PINS, key=lambda known: abs(known - pitch_mm))
    pins = PINS[pitch] if abs(pitch - pitch_mm) < 0.1 else (THIN,)
    if pitch == 2.54 and rows_apart_mm is not None and rows_apart_mm > 7.0:
        pins = pins[1:]
    return next((pin for pin in (*pins, THIN) if pin.round_mm < asked_mm), pins[-1])


@dataclass(frozen=True)
class PartFit:
    """play_mm: see the module; shift_mm, turn_rad: the best placement, nominal -> holes:
    q -> R(turn) (q - m) + m + shift, m the mean of the nominal places.
    tightest: index of the pin with the least clearance there."""

    fits: bool
    play_mm: float
    shift_mm: tuple[float, float]
    turn_rad: float
    tightest: int


def fit_part(hole_centres_mm, hole_diameters_mm, nominal_mm, pin: Pin) -> PartFit:
    """The best rigid placement of a part with its pins at `nominal_mm` (N, 2).

    hole_centres_mm (N, 2) and nominal_mm in axes of the same handedness, in true
    mm (a shrunken print must not hide here); hole_diameters_mm (N,).
    """
    centres, nominal = as_points(hole_centres_mm), as_points(nominal_mm)
    diameters = np.asarray(hole_diameters_mm, dtype=np.float64)
    if not (len(centres) == len(nominal) == len(diameters) >= 1):
        raise ValueError("one hole centre, diameter and pin place for each pin, at least one")
    clearance = (diameters - pin.round_mm) / 2
    middle = nominal.mean(axis=0)
    arms = nominal - middle
    shift = centres.mean(axis=0) - middle
    turn = _start_turn(arms, centres - centres.mean(axis=0))
    for _ in range(30):
        shift, change = _linearised(arms, centres - middle, clearance, shift, turn)
        turn += change
        if abs(change) * max(1.0, np.abs(arms).max()) < 1e-8:
            break
    slack = clearance - np.hypot(*(_turned(arms, turn) + shift + middle - centres).T)
    tightest = int(slack.argmin())
    play = float(slack[tightest])
    turn = math.remainder(turn, 2 * math.pi)
    return PartFit(play >= 0, play, (float(shift[0]), float(shift[1])), turn, tightest)


def _start_turn(arms: np.ndarray, targets: np.ndarray) -> float:
    """The least-squares turn; a single pin has none."""
    dot = (arms * targets).sum()
    cross = (arms[:, 0] * targets[:, 1] - arms[:, 1] * targets[:, 0]).sum()
    return math.atan2(cross, dot) if dot or cross else 0.0


def _turned(arms: np.ndarray, turn: float) -> np.ndarray:
    c, s = math.cos(turn), math.sin(turn)
    return arms @ np.array([[c, s], [-s, c]])


def _linearised(arms, targets, clearance, shift, turn) -> tuple[np.ndarray, float]:
    """Shift and change of turn that are best while the turn acts linearly."""
    turned = _turned(arms, turn)
    reach = max(float(np.abs(arms).max()), 1e-3)  # brings the turn to the size of a shift
    blocks = np.zeros((len(arms), 2, 3))
    blocks[:, 0, 0] = blocks[:, 1, 1] = 1
    if len(arms) > 1:
        blocks[:, 0, 2], blocks[:, 1, 2] = -turned[:, 1] / reach, turned[:, 0] / reach
    solution = _least_worst(blocks, turned + shift - targets, clearance)
    return shift + solution[:2], float(solution[2]) / reach


def _least_worst(blocks: np.ndarray, offsets: np.ndarray, clearance: np.ndarray) -> np.ndarray:
    """x (3,) minimising max_i |B_i x + o_i| - k_i, within GAP_MM.

    Barrier method (Boyd and Vandenberghe, Convex Optimization, 2004, section
    11.3) on the cones |u_i| <= s + k_i, each of barrier parameter 2, so the gap
    after centring at weight w is at most 2 N / w.
    """
    x = np.zeros(3)
    lengths = np.hypot(*offsets.T)
    s = float((lengths - clearance).max()) + 0.05 + 0.1 * float(lengths.max())
    weight, count = 10.0, len(offsets)
    while 2 * count / weight > GAP_MM:
        weight *= 12
        x, s = _centred(blocks, offsets, clearance, x, s, weight)
    return x


def _barrier(blocks, offsets, clearance, x, s, weight) -> float:
    u = blocks @ x + offsets
    room = s + clearance
    inside = room**2 - (u**2).sum(axis=1)
    if (room <= 0).any() or (inside <= 0).any():
        return math.inf
    return weight * s - float(np.log(inside).sum())


def _centred(blocks, offsets, clearance, x, s, weight) -> tuple[np.ndarray, float]:
    for _ in range(50):
        u = blocks @ x + offsets
        room = s + clearance
        inside = room**2 - (u**2).sum(axis=1)
        # the gradient of each cone's -log(inside) in (x, s), and its curvature
        pull = np.einsum("nij,ni->nj", blocks, u)
        grads = np.column_stack([2 * pull, -2 * room]) / inside[:, None]
        hessian = grads.T @ grads
        hessian[:3, :3] += np.einsum("nij,nik,n->jk", blocks, blocks, 2 / inside)
        hessian[3, 3] -= (2 / inside).sum()
        hessian += np.diag([0.0, 0.0, 1e-12, 0.0]) + np.eye(4) * 1e-14 * np.trace(hessian)
        gradient = grads.sum(axis=0) + [0.0, 0.0, 0.0, weight]
        step = -np.linalg.solve(hessian, gradient)
        decrement = float(-gradient @ step)
        if decrement < 1e-9:
            break
        value, length = _barrier(blocks, offsets, clearance, x, s, weight), 1.0
        while length > 1e-10:
            trial = x + length * step[:3], s + length * step[3]
            if _barrier(blocks, offsets, clearance, *trial, weight) < value - 0.1 * length * decrement:
                x, s = trial
                break
            length /= 2
        else:
            break
    return x, s
