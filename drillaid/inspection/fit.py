"""Does a rigid part go into the holes that were drilled?

A part is a set of pins at fixed places. It goes in where one shift and one turn
bring every pin inside its hole. A round pin is inside where its axis is within
k = hole radius - pin radius of the hole's middle; a square or flat one where each
of its four corners is within the hole's radius, and since all pins of a part turn
together, so do all corners. With p_j the axes or corners, c_j the middle of the
hole each belongs to and k_j as above,

    play = max over shift t, turn a of  min over j of  (k_j - |R(a) p_j + t - c_j|)

says both: play >= 0, it goes in, and at the best place it may still move by `play`
whichever way; play < 0, it misses by that much. For a fixed linearisation of the
turn this is a second-order cone programme (`cones`); the turn is then linearised
anew until it stands still.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from drillaid.geometry import as_points
from drillaid.inspection.cones import GAP_MM, LeastWorst, least_worst


@dataclass(frozen=True)
class Pin:
    """One pin's cross-section: "square" or "flat" (width and depth), or "round" (width).

    width_mm: along its row; depth_mm: across it, None: as the width
    tolerance_mm: by how much either may be larger or smaller. Whether a part goes in
      is asked of the largest section; its probability, of all of them.
    """

    name: str
    shape: str
    width_mm: float
    depth_mm: float | None = None
    tolerance_mm: float = 0.0

    @property
    def sides_mm(self) -> tuple[float, float]:
        """Along and across the row, without the tolerance; of a round one, its diameter twice."""
        return self.width_mm, self.width_mm if self.depth_mm is None else self.depth_mm

    @property
    def round_mm(self) -> float:
        """Diameter of the circle round the largest section: what a round hole must let in.

        A 0.64 mm square post needs 0.905 mm (0.64 sqrt 2; published by several makers).
        """
        width, depth = (side + self.tolerance_mm for side in self.sides_mm)
        return width if self.shape == "round" else math.hypot(width, depth)


_PIN = re.compile(
    r"(?P<shape>square|flat|round):(?P<width>[0-9.]+)(?:x(?P<depth>[0-9.]+))?(?::(?P<tol>[0-9.]+))?"
)


def read_pin(text: str) -> Pin | None:
    """ "square:0.64:0.02", "flat:0.5x0.25", "round:1.0" -> Pin; None for anything else."""
    match = _PIN.fullmatch(text.strip().lower())
    if match is None or (match["shape"] == "flat") != (match["depth"] is not None):
        return None
    try:
        width, depth, tolerance = (float(match[k] or 0) for k in ("width", "depth", "tol"))
    except ValueError:
        return None
    if not (0.05 <= width <= 10 and depth <= 10 and tolerance < min(width, depth or width)):
        return None
    size = f"{width:g}" + (f" x {depth:g}" if depth else "")
    kind = {"square": "square post", "flat": "flat lead", "round": "round pin"}[match["shape"]]
    name = f"{size} mm {kind}" + (f", ±{tolerance:g}" if tolerance else "")
    return Pin(name, match["shape"], width, depth or None, tolerance)


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


@dataclass(frozen=True, eq=False)
class PartFit:
    """play_mm: see the module; shift_mm, turn_rad: the best placement, nominal -> holes:
    q -> R(turn) (q - m) + m + shift, m the mean of the nominal places.
    tightest: index of the pin with the least clearance there
    push: (N, 2), by which unit of play a shift of each hole's middle is felt: the play
      changes by push_i . d where that hole lies d elsewhere
    hold: (N,), the same for its radius; they sum to 1
    """

    fits: bool
    play_mm: float
    shift_mm: tuple[float, float]
    turn_rad: float
    tightest: int
    push: np.ndarray
    hold: np.ndarray

    def play_error_mm(self, centre_error_mm, diameter_error_mm) -> float:
        """One sigma of the play, to first order.

        centre_error_mm: (N,) sigma of the distance; diameter_error_mm: (N,)
        """
        along = (self.push**2).sum(axis=1) * np.square(centre_error_mm) / 2
        across = np.square(self.hold * np.asarray(diameter_error_mm) / 2)
        return float(np.sqrt((along + across).sum()))


@dataclass(frozen=True, eq=False)
class Task:
    """What must lie within what: points (M, 2) of the part about its middle (2,), each
    within radii (M,) of the middle (M, 2) of the hole with index `hole` (M,)."""

    points: np.ndarray
    middle: np.ndarray
    radii: np.ndarray
    centres: np.ndarray
    hole: np.ndarray

    @classmethod
    def of(cls, hole_centres_mm, hole_diameters_mm, nominal_mm, pin: Pin, along_rad) -> Task:
        """See `fit_part`."""
        centres, nominal = as_points(hole_centres_mm), as_points(nominal_mm)
        radii = np.asarray(hole_diameters_mm, dtype=np.float64) / 2
        if not (len(centres) == len(nominal) == len(radii) >= 1):
            raise ValueError("one hole centre, diameter and pin place for each pin, at least one")
        middle = nominal.mean(axis=0)
        arms, hole = nominal - middle, np.arange(len(nominal))
        if pin.shape == "round" or along_rad is None:
            return cls(arms, middle, radii - pin.round_mm / 2, centres, hole)
        w, d = ((side + pin.tolerance_mm) / 2 for side in pin.sides_mm)
        corners = turned(np.array([(w, d), (-w, d), (-w, -d), (w, -d)]), along_rad)
        points = (arms[:, None] + corners).reshape(-1, 2)
        hole = np.repeat(hole, 4)
        return cls(points, middle, radii[hole], centres[hole], hole)

    def placed(self, shift, turn: float) -> np.ndarray:
        """The points as seen from the middles of their holes, (M, 2)."""
        return turned(self.points, turn) + self.middle + shift - self.centres

    @property
    def reach(self) -> float:
        """mm; brings the turn to a shift's size."""
        return max(float(np.abs(self.points).max()), 1e-3)

    def blocks(self, turn: float) -> np.ndarray:
        """(M, 2, 3), how the points move with (shift, turn * reach) about that turn."""
        there = turned(self.points, turn)
        blocks = np.zeros((len(there), 2, 3))
        blocks[:, 0, 0] = blocks[:, 1, 1] = 1
        blocks[:, 0, 2], blocks[:, 1, 2] = -there[:, 1] / self.reach, there[:, 0] / self.reach
        return blocks


def turned(points: np.ndarray, turn_rad: float) -> np.ndarray:
    """Points (M, 2) turned counter-clockwise about the origin."""
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    return points @ np.array([[c, s], [-s, c]])


def fit_part(
    hole_centres_mm, hole_diameters_mm, nominal_mm, pin: Pin, *, along_rad: float | None = None
) -> PartFit:
    """The best rigid placement of a part with its pins at `nominal_mm` (N, 2).

    hole_centres_mm (N, 2) and nominal_mm in axes of the same handedness, in true
    mm (a shrunken print must not hide here); hole_diameters_mm (N,).
    along_rad: direction of the pins' width in the axes of nominal_mm, as a rule that of
    the row. None: it is not known, and every pin is taken as the circle round it, which
    never promises too much.
    """
    task = Task.of(hole_centres_mm, hole_diameters_mm, nominal_mm, pin, along_rad)
    centres = as_points(hole_centres_mm)
    shift = centres.mean(axis=0) - task.middle
    turn = _start_turn(as_points(nominal_mm) - task.middle, centres - centres.mean(axis=0))
    for _ in range(30):  # one or two do, unless the holes are nothing like the part
        step = _step(task, shift, turn, 1e-4).x[0]
        shift, change = shift + step[:2], float(step[2])
        turn += change / task.reach
        if abs(change) < 1e-3:  # mm; what the play still lacks is its square over the reach
            break
    answer = _step(task, shift, turn, GAP_MM)
    step = answer.x[0]
    shift, turn = shift + step[:2], turn + float(step[2]) / task.reach
    return _told(task, shift, turn, answer.weights[0], len(centres))


def _step(task: Task, shift, turn: float, gap_mm: float) -> LeastWorst:
    away = task.placed(shift, turn)
    return least_worst(task.blocks(turn), away[None], task.radii[None], gap_mm)


def _told(task: Task, shift, turn: float, weights, count: int) -> PartFit:
    away = task.placed(shift, turn)
    slack = task.radii - np.hypot(*away.T)
    play = float(slack.min())
    push, hold = np.zeros((count, 2)), np.zeros(count)
    # k - play is the distance of every point that holds the part, and far from zero elsewhere
    unit = away / np.maximum(task.radii - play, 1e-9)[:, None]
    np.add.at(push, task.hole, weights[:, None] * unit)
    np.add.at(hold, task.hole, weights)
    tightest = int(task.hole[slack.argmin()])
    turn = math.remainder(turn, 2 * math.pi)
    return PartFit(play >= 0, play, (float(shift[0]), float(shift[1])), turn, tightest, push, hold)


def _start_turn(arms: np.ndarray, targets: np.ndarray) -> float:
    """The least-squares turn; a single pin has none."""
    dot = (arms * targets).sum()
    cross = (arms[:, 0] * targets[:, 1] - arms[:, 1] * targets[:, 0]).sum()
    return math.atan2(cross, dot) if dot or cross else 0.0
