"""The table as the rig file's [table] describes it.

[table]
arrangement = "board"            # "board": it moves under fixed spindle and camera (default);
                                 # "spindle": spindle and camera move over a fixed board
dialect = "line-ack"             # a shipped dialect or a file
matrix = [[a, b], [c, d]]        # bench mm per table mm, of the part that moves
matrix_sigma = 0.0005            # one sigma of each entry
backlash_mm = [x, y]             # lost on turning back
limits_mm = [[x0, x1], [y0, y1], [z0, z1]]   # soft limits, table mm
view_mm = [x, y]                 # where the whole board is seen (default: the middle)
z = "controller"                 # or "lever": a person pulls it when told
safe_z_mm = -8.0                 # where nothing sticks up into the bit's way
surface_z_mm = -20.0             # where the bit's tip meets the board's upper face
spindle_rpm = 20000.0            # 0: the spindle is switched by hand
speed_mm_s, acceleration_mm_s2   # x, y, z; for planning and for deadlines
spin_up_s, settle_s, feed_mm_min, peck_mm
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.errors import OutOfReach, RigError
from drillaid.rig.rig import Rig
from drillaid.table.timing import Pace

AXES = "xyz"


@dataclass(frozen=True, eq=False)
class TableSetup:
    """matrix: (2, 2), how the board moves in the bench frame, mm per table mm, whatever it
    is that moves; limits_mm: (3, 2); view_mm: (2,), table; lever: a person moves Z;
    switched: the spindle obeys the controller.
    """

    dialect: str
    matrix: np.ndarray
    backlash_mm: np.ndarray
    limits_mm: np.ndarray
    view_mm: np.ndarray
    pace: Pace
    lever: bool = False
    safe_z_mm: float = 0.0
    surface_z_mm: float = 0.0
    spindle_rpm: float = 0.0
    spin_up_s: float = 2.0
    settle_s: float = 0.05
    feed_mm_min: float | None = None
    peck_mm: float | None = None

    @property
    def switched(self) -> bool:
        return self.spindle_rpm > 0

    @classmethod
    def of(cls, rig: Rig, file: str | None = None, *, calibrated: bool = True) -> TableSetup:
        """RigError where something needed is missing.

        calibrated: False does without matrix and backlash, for who is about to measure them
          (the unit matrix and none stand in).
        """
        table = rig.extra.get("table")
        if not isinstance(table, dict):
            raise RigError("[table] is missing, so nobody knows how the table moves", file=file,
                           remedy="run drillaid calibrate table")  # fmt: skip
        lever = table.get("z", "controller") == "lever"
        needed = ["limits_mm"] + (["matrix", "backlash_mm"] if calibrated else [])
        needed += [] if lever else ["safe_z_mm", "surface_z_mm"]
        for name in needed:
            if name not in table:
                raise RigError(f"table.{name} is missing", file=file,
                               remedy="write it as drillaid table drill --help shows")  # fmt: skip
        sign = -1.0 if table.get("arrangement", "board") == "spindle" else 1.0
        limits = np.array(table["limits_mm"], dtype=np.float64)
        return cls(
            dialect=table.get("dialect", "line-ack"),
            matrix=sign * np.array(table.get("matrix", np.eye(2)), dtype=np.float64),
            backlash_mm=np.array(table.get("backlash_mm", (0.0, 0.0)), dtype=np.float64),
            limits_mm=limits,
            view_mm=np.array(table.get("view_mm", limits[:2].mean(axis=1)), dtype=np.float64),
            pace=Pace(
                tuple(table.get("speed_mm_s", Pace.speed_mm_s)),
                tuple(table.get("acceleration_mm_s2", Pace.acceleration_mm_s2)),
            ),
            lever=lever,
            **{name: float(table[name]) for name in _NUMBERS if name in table},
        )

    def check(self, x: float | None, y: float | None, z: float | None) -> None:
        """OutOfReach for a place beyond the soft limits; axes that are None do not move."""
        for axis, value, (low, high) in zip(AXES, (x, y, z), self.limits_mm, strict=True):
            if value is not None and not low - 1e-9 <= value <= high + 1e-9:  # also NaN
                raise OutOfReach(
                    f"{axis.upper()} {value:.2f} mm is beyond the soft limits, {low:g} to "
                    f"{high:g} mm; nothing was sent."
                )


_NUMBERS = (
    "safe_z_mm", "surface_z_mm", "spindle_rpm", "spin_up_s", "settle_s", "feed_mm_min", "peck_mm",
)  # fmt: skip
