"""The simulated table under the simulated bench: the board moves, the bit drills, the camera sees.

One simulated clock for table, camera and program, so a run is the same on any computer.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from drillaid.design.model import Design
from drillaid.geometry import Affine
from drillaid.rig.frame import Frame
from drillaid.rig.rig import Rig
from drillaid.simulation.bench import SimulatedBench
from drillaid.simulation.camera import SimulatedCamera
from drillaid.simulation.conditions import bench_for
from drillaid.simulation.rigs import nominal_rig
from drillaid.simulation.table import SimulatedTable
from drillaid.simulation.table_motion import Mechanics
from drillaid.simulation.table_port import SimulatedClock, SimulatedWire

# A converted table as a user might have it; plausible, not measured.
HOME_MADE = Mechanics(backlash_mm=(0.15, 0.15), skew_deg=0.5, scale=(1.01, 0.99), lost_chance=0.03)
SPARE = 1.7  # of the board's size is in view, since it moves about under the camera


class TableCamera(SimulatedCamera):
    """A simulated camera by the clock that the table goes by."""

    def __init__(self, bench: SimulatedBench, clock: SimulatedClock, fps: float = 20.0, **kwargs):
        super().__init__(bench, fps, name="simulated table camera", **kwargs)
        self._clock = clock

    @property
    def time_s(self) -> float:
        return self._clock.now()

    def _pass_time(self, seconds: float) -> None:
        self._clock.advance(seconds)


class TableOnBench:
    """bit_mm: in the chuck, set by who changes it. spindle_moves: the other arrangement,
    seen from the camera that moves along.

    bores: (design mm, bit) where the bit truly went down; wander aside
    """

    def __init__(
        self,
        design: Design,
        seed: int = 1,
        *,
        mechanics: Mechanics = HOME_MADE,
        dialect: str = "line-ack",
        rig: Rig | None = None,
        face: str = "bottom",
        thickness_mm: float = 1.6,
        size: tuple[int, int] = (1280, 720),
        spindle_moves: bool = False,
        turn_deg: float | None = None,
    ) -> None:
        ring = design.xy_mm if design.outline is None else design.outline.rings_mm[0]
        span = np.ptp(np.asarray(ring), axis=0)
        self.mechanics = _long_enough(mechanics, span)
        self.bench = bench_for(
            design, seed, face=face, thickness_mm=thickness_mm, size=size,
            rig=rig or _rig(design, span, size, seed),
        )  # fmt: skip
        self.dialect = dialect
        self._sign = -1.0 if spindle_moves else 1.0
        self.clock = SimulatedClock()
        self.table = SimulatedTable(
            self.clock.now, dialect=dialect, mechanics=self.mechanics, seed=seed,
            on_drill=self._drill,
        )  # fmt: skip
        self.bit_mm: float | None = None
        self.bores: list[tuple[np.ndarray, float]] = []
        middle = self.mechanics.matrix @ np.array(self.mechanics.limits_mm)[:2].mean(axis=1)
        turn = np.random.default_rng([seed, 23]).uniform(-25, 25) if turn_deg is None else turn_deg
        at = self.bench.spindle_mm - self._sign * middle
        self._at_zero = Affine.from_parts(rotation_rad=math.radians(turn), offset=at)
        self.camera = TableCamera(self.bench, self.clock, before_frame=lambda time_s: self._pose())
        self._pose()

    @property
    def rig(self) -> Rig:
        """With the [table] that a rough look at the table would give: no skew, no scale."""
        m, own = self.mechanics, self.bench.rig
        if "table" in own.extra:
            return own
        table = {
            "arrangement": "board" if self._sign > 0 else "spindle",
            "dialect": self.dialect,
            "matrix": [[1.0, 0.0], [0.0, 1.0]],
            "backlash_mm": list(m.backlash_mm),
            "limits_mm": [list(pair) for pair in m.limits_mm],
            "safe_z_mm": -12.0,
            "surface_z_mm": m.surface_z_mm,
            "spindle_rpm": 20_000.0,
            "spin_up_s": 1.0,
            "speed_mm_s": list(m.speed_mm_s),
            "acceleration_mm_s2": list(m.acceleration_mm_s2),
        }
        return replace(own, extra={**own.extra, "table": table})

    def wire(self) -> SimulatedWire:
        """For `--port sim`: someone opens the port."""
        return SimulatedWire(self.table, self.clock)

    def pull_lever(self) -> None:
        """Where Z is a person's: the bit goes down where the table stands."""
        self._drill(self.table.bench_mm, self.clock.now())

    def _pose(self) -> None:
        shift = Affine.from_parts(offset=self._sign * self.table.bench_mm)
        self.bench.pose = shift @ self._at_zero

    def _drill(self, bench_mm: np.ndarray, time_s: float) -> None:
        if self.bit_mm is None:
            return
        self.bench.pose = Affine.from_parts(offset=self._sign * bench_mm) @ self._at_zero
        self.bores.append((self.bench.truth.inverse(self.bench.spindle_mm)[0], self.bit_mm))
        self.bench.drill(self.bit_mm)

    def frame(self) -> Frame:
        """A picture of now, for who wants one."""
        return self.camera.read(1.0)


def _long_enough(mechanics: Mechanics, span_mm: np.ndarray) -> Mechanics:
    """Travel for a board of that size at any turn up to 25 degrees."""
    need = float(np.hypot(*span_mm)) + 20.0
    (x0, x1), (y0, y1), z = mechanics.limits_mm
    return replace(mechanics, limits_mm=((x0, max(x1, x0 + need)), (y0, max(y1, y0 + need)), z))


def _rig(design: Design, span_mm: np.ndarray, size: tuple[int, int], seed: int) -> Rig:
    long, short = sorted(span_mm, reverse=True)
    mm_per_px = max(0.04, SPARE * long / size[0], SPARE * short / size[1])
    return nominal_rig(*size, mm_per_px, seed=seed)
