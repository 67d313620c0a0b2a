"""The moves that measure a table, through the machine's safe interface only, and its refusals.

Home, feel each axis with small steps, then in an area where the board stays in view: on each
axis forth and back through targets, again and again, every turn made beyond the last target
so that its backlash is taken up; after each run back to one place, seen again, to notice lost
steps. A generator throughout, as all of `drillaid.table`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from calibration.table_axes import AXES, Sent, TableAxes, fit_axes
from drillaid.errors import AreaTooSmall, BoardLost, CannotPlace, NotFollowed, StepsLost
from drillaid.rig.rig import Rig
from drillaid.table.eye import Eye, Look
from drillaid.table.machine import Machine

LEAST_SIDE_MM = 10.0
MOST_HALF_MM = 20.0  # of an area nobody asked for: a longer way says no more than is needed
HALVES_MM = (20.0, 17.5, 15.0, 12.5, 10.0, 8.0, 6.0, 5.0)
TAKE_UP_MM, FEEL_MM = 1.5, 2.0  # before an axis is felt, and how far it then goes
FOLLOWS = (0.2, 5.0)  # as `rig.table_limits.SCALE`
ALIKE = (0.8, 1.25)  # a whole run against how the axis was felt over FEEL_MM
OVERRUN = 0.08, 1.0, 3.0  # of the area's side; at least, at most, mm
BACKLASH_OF_OVERRUN = 0.7
LOST_MM = 0.04  # coming back so far off is no scatter of a table that can drill
LOST_SIGMAS = 6.0
MOST_REPEATS = 3
STILL = 5  # pictures of the board standing still, for the camera's own scatter
EDGE_SHARE = 0.02  # of the picture, kept free around the board


@dataclass(frozen=True)
class Plan:
    """targets, runs: ISO 230-2 asks for five each (as remembered, not looked up).

    area_mm: (x0, y0, x1, y1) table mm that nothing leaves, or None: as large as the view
    allows, about the place of looking
    """

    targets: int = 5
    runs: int = 5
    area_mm: tuple[float, float, float, float] | None = None

    def __post_init__(self) -> None:
        if not (3 <= self.targets <= 20 and 2 <= self.runs <= 30):
            raise ValueError("3 to 20 targets and 2 to 30 runs")


@dataclass(frozen=True, eq=False)
class Toured:
    """axes: the result; still_mm: one sigma of the camera, the board standing still;
    lost_mm: by how much it came back elsewhere, for each run that was done again;
    drift_mm: (2,), table mm, from the first to the last look at the one place
    """

    axes: TableAxes
    area_mm: tuple[float, float, float, float]
    still_mm: float
    lost_mm: tuple[float, ...]
    drift_mm: np.ndarray

    @property
    def lost_mm_per_stop(self) -> float:
        """One sigma of what one stop adds for good, as a random walk; 0 where the table came
        back as well as it repeats."""
        off = float(np.hypot(*self.drift_mm))
        noise = math.hypot(self.axes.scatter_mm, self.still_mm)
        return off / math.sqrt(self.axes.stops) if off > max(LOST_MM, 4 * noise) else 0.0


class Tour:
    """points_mm: (N, 2), of the board's own frame, that must stay in view; height_mm: of the
    face they lie on; tell: called with sentences for the person."""

    def __init__(
        self, machine: Machine, eye: Eye, rig: Rig, points_mm, plan: Plan | None = None, *,
        height_mm: float = 1.6, tell: Callable[[str], None] = lambda text: None,
    ) -> None:  # fmt: skip
        self.machine, self.eye, self.rig = machine, eye, rig
        self.plan, self._height, self.tell = plan or Plan(), height_mm, tell
        self._points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 2)
        self._point = self._points.mean(axis=0)
        self._stops: list[Sent] = []
        self._done = 0
        self._lost: list[float] = []
        self._turned = [1, 1]  # the direction of each axis's last motion

    @property
    def runs(self) -> tuple[int, int]:
        """(done, all), of both axes."""
        return self._done, 2 * self.plan.runs

    def run(self):
        """To the end: `Toured`. Raises what machine and eye raise, AreaTooSmall, NotFollowed,
        StepsLost, CannotPlace. The caller makes the machine safe, however it ends."""
        self.tell("The table finds its home: keep clear.")
        yield from self.machine.home()
        look = yield from self.eye.look(self.machine.moved_s)
        self.machine.board_registered()
        rough = yield from self._feel()
        area = self._area(look, rough)
        self._check_view(look, rough, area)
        self.tell(
            f"Moves between X {area[0]:.1f} and {area[2]:.1f}, Y {area[1]:.1f} and "
            f"{area[3]:.1f} mm."
        )
        still, first = yield from self._stand_still(area)
        came = first
        for axis in (0, 1):
            came = yield from self._runs(axis, area, came, still, rough)
        axes = fit_axes(self._stops)
        self._judge(axes, area)
        yield from self.machine.travel(*self.machine.setup.view_mm)
        drift = np.linalg.solve(axes.matrix, came - first)
        return Toured(axes, area, still, tuple(self._lost), drift)

    # --- looking ------------------------------------------------------------------

    def _see(self):
        """(2,), bench: where the followed point lies, in a picture taken since the last move."""
        after = self.machine.moved_s + self.machine.setup.settle_s
        try:
            look = yield from self.eye.look(after)
        except BoardLost as error:
            x, y = self.machine.xy_mm
            raise BoardLost(
                f"{str(error).rstrip('.')}, with the table at {x:.1f} {y:.1f} mm; clamp it, "
                "light it evenly, or give a smaller --area."
            ) from None
        return look.bench_mm(self._point)

    def _stand_still(self, area):
        """(one sigma of a look, mm of one axis; the mean place) at the place to come back to."""
        seen = [(yield from self._come_back(area))]
        for _ in range(STILL - 1):
            look = yield from self.eye.look(self.eye.frame.time_s)
            seen.append(look.bench_mm(self._point))
        scatter = float(np.sqrt(np.var(seen, axis=0, ddof=1).mean()))
        return scatter, np.mean(seen, axis=0)

    # --- moving -------------------------------------------------------------------

    def _travel(self, x: float, y: float):
        for axis, way in enumerate(np.array([x, y]) - self.machine.xy_mm):
            if abs(way) > 1e-6:
                self._turned[axis] = 1 if way > 0 else -1
        yield from self.machine.travel(x, y)

    def _feel(self):
        """(2, 2), roughly: how the board follows each axis."""
        start = self.machine.xy_mm
        low, high = self.machine.setup.limits_mm[:2].T
        rough = np.zeros((2, 2))
        for axis in (0, 1):
            room = high[axis] - start[axis] >= TAKE_UP_MM + FEEL_MM
            way = np.zeros(2)
            way[axis] = 1.0 if room else -1.0
            yield from self._travel(*np.clip(start + TAKE_UP_MM * way, low, high))
            before = yield from self._see()
            at = self.machine.xy_mm
            yield from self._travel(*np.clip(start + (TAKE_UP_MM + FEEL_MM) * way, low, high))
            after = yield from self._see()
            went = float((self.machine.xy_mm - at)[axis])
            if abs(went) < FEEL_MM / 2:
                raise AreaTooSmall(
                    f"The soft limits leave {AXES[axis]} no room to be measured; correct "
                    "limits_mm or view_mm in [table] of the rig file."
                )
            rough[:, axis] = (after - before) / went
            share = float(np.hypot(*rough[:, axis]))
            if not FOLLOWS[0] <= share <= FOLLOWS[1]:
                raise _not_followed(axis, abs(went), share * abs(went))
        if abs(np.linalg.det(rough)) < 0.5 * np.prod(np.hypot(*rough)):
            raise NotFollowed(
                "Both axes move the board the same way; look at the wiring of x and y."
            )
        return rough

    def _runs(self, axis: int, area, came, still: float, rough):
        """All runs of one axis; where the followed point lay at the end."""
        targets, low, high = self._targets(axis, area)
        done = 0
        while done < self.plan.runs:
            run = len({s.run for s in self._stops})
            stops = yield from self._forth_and_back(run, axis, area, targets, low, high)
            back = yield from self._come_back(area)
            off = float(np.hypot(*np.linalg.solve(rough, back - came)))
            came = back
            if off > max(LOST_MM, LOST_SIGMAS * still):
                self._lost.append(off)
                self._check_lost(axis, off)
                continue
            self._check_followed(axis, stops, rough)
            self._stops += stops
            done += 1
            self._done += 1
            self.tell(f"{AXES[axis].upper()}: run {done} of {self.plan.runs}.")
        return came

    def _check_followed(self, axis: int, stops: list[Sent], rough) -> None:
        """An axis that stands still comes back to where it was, too."""
        for a, b in ((stops[0], stops[len(stops) // 2 - 1]), (stops[len(stops) // 2], stops[-1])):
            sent = rough @ np.subtract(b.sent_mm, a.sent_mm)
            seen = np.subtract(b.seen_mm, a.seen_mm)
            share = float(seen @ sent / (sent @ sent))
            if not ALIKE[0] <= share <= ALIKE[1]:
                way = abs(b.sent_mm[axis] - a.sent_mm[axis])
                raise _not_followed(axis, way, float(np.hypot(*seen)))

    def _check_lost(self, axis: int, off: float) -> None:
        self.tell(f"It came back {off:.3f} mm from where it left; this run is done again.")
        if len(self._lost) > MOST_REPEATS:
            each = ", ".join(f"{value:.2f}" for value in self._lost)
            raise StepsLost(
                f"In {len(self._lost)} runs the table came back elsewhere than it left ({each} "
                f"mm, the last on {AXES[axis]}): it loses steps or something slips. Lower speed "
                "and acceleration, look for binding screws, loose couplings and the motors' "
                "current, and clamp the board."
            )

    def _forth_and_back(self, run: int, axis: int, area, targets, low: float, high: float):
        """The stops of one run: up through the targets, beyond, and down again."""
        middle = _middle(area)
        stops = []

        def place(along: float) -> np.ndarray:
            at = middle.copy()
            at[axis] = along
            return at

        yield from self._travel(*place(low))  # the other axis stays as `_come_back` left it
        for order in (range(len(targets)), reversed(range(len(targets)))):
            for k in order:
                yield from self._travel(*place(targets[k]))
                seen = yield from self._see()
                sent = tuple(self.machine.xy_mm.tolist())
                stops.append(Sent(run, axis, k, tuple(self._turned), sent, tuple(seen.tolist())))
            yield from self._travel(*place(high))
        return stops

    def _come_back(self, area):
        """To the area's middle, each axis from below, as at the first time."""
        middle = _middle(area)
        over = [self._overrun(area, axis) for axis in (0, 1)]
        yield from self._travel(*(middle - over))
        yield from self._travel(*middle)
        seen = yield from self._see()
        return seen

    # --- the area -----------------------------------------------------------------

    def _overrun(self, area, axis: int) -> float:
        share, least, most = OVERRUN
        return float(np.clip(share * (area[axis + 2] - area[axis]), least, most))

    def _targets(self, axis: int, area) -> tuple[np.ndarray, float, float]:
        """(targets, low, high): not evenly spaced, so that what repeats with each turn of a
        screw does not hide between them."""
        low, high = area[axis], area[axis + 2]
        over = self._overrun(area, axis)
        share = np.linspace(0, 1, self.plan.targets)
        uneven = 0.3 * np.sin(2.4 * np.arange(self.plan.targets)) / (self.plan.targets - 1)
        uneven[[0, -1]] = 0
        return low + over + (share + uneven) * (high - low - 2 * over), low, high

    def _area(self, look: Look, rough: np.ndarray) -> tuple[float, float, float, float]:
        """As asked for, or the largest square about the place of looking."""
        limits = self.machine.setup.limits_mm[:2]
        if self.plan.area_mm is not None:
            x0, y0, x1, y1 = area = self.plan.area_mm
            for x, y in ((x0, y0), (x1, y1)):
                self.machine.setup.check(x, y, None)
            if min(x1 - x0, y1 - y0) < LEAST_SIDE_MM:
                raise AreaTooSmall(
                    f"An area of {x1 - x0:g} x {y1 - y0:g} mm is too small to tell scale and "
                    f"skew; give --area at least {LEAST_SIDE_MM:g} mm each way."
                )
            return area
        centre = self.machine.setup.view_mm
        for half in HALVES_MM:
            low = np.maximum(centre - half, limits[:, 0])
            high = np.minimum(centre + half, limits[:, 1])
            area = (*low.tolist(), *high.tolist())
            if (high - low).min() >= LEAST_SIDE_MM and self._stays_in_view(look, rough, area):
                return area
        raise AreaTooSmall(
            f"There is no {LEAST_SIDE_MM:g} mm square about the place of looking in which the "
            "board stays in view and the table within its soft limits; take a smaller board, "
            "raise the camera, or correct view_mm."
        )

    def _check_view(self, look: Look, rough: np.ndarray, area) -> None:
        if not self._stays_in_view(look, rough, area):
            raise CannotPlace(
                "Somewhere in that area the board would leave the picture; give a smaller "
                "--area, or one about the place where the board is in the picture's middle."
            )

    def _stays_in_view(self, look: Look, rough: np.ndarray, area) -> bool:
        here = look.registration.placement.matrix(self._points)
        x0, y0, x1, y1 = area
        edge = EDGE_SHARE * self.rig.width
        room = np.array([self.rig.width, self.rig.height]) - edge
        for corner in ((x0, y0), (x0, y1), (x1, y0), (x1, y1)):
            shift = rough @ (np.array(corner) - self.machine.setup.view_mm)
            px = self.rig.to_pixels(here + shift, self._height)
            if not ((px >= edge) & (px <= room)).all():  # False for NaN
                return False
        return True

    def _judge(self, axes: TableAxes, area) -> None:
        for axis, lost in enumerate(axes.backlash_mm):
            over = self._overrun(area, axis)
            if lost > BACKLASH_OF_OVERRUN * over:
                raise CannotPlace(
                    f"{AXES[axis].upper()} loses {lost:.2f} mm on turning back, more than the "
                    f"{over:.1f} mm by which the turns overran can show; tighten it, or give a "
                    "larger --area."
                )
        if not all(math.isfinite(v) for v in axes.matrix.ravel()):
            raise NotFollowed("The table's moves and what was seen do not go together.")


def _not_followed(axis: int, sent_mm: float, seen_mm: float) -> NotFollowed:
    return NotFollowed(
        f"{AXES[axis].upper()} was sent {sent_mm:g} mm and the board was seen to move "
        f"{seen_mm:.2f} mm: look for a loose coupling, a blocked or unplugged axis, a board that "
        "is not clamped, or wrong steps per mm."
    )


def _middle(area) -> np.ndarray:
    return np.array([(area[0] + area[2]) / 2, (area[1] + area[3]) / 2])
