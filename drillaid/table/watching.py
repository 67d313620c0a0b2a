"""Where the board lies under the spindle, look by look, and whether it goes where it is taken."""

from __future__ import annotations

import numpy as np

from drillaid.errors import BoardLost, BoardSlipped
from drillaid.geometry import Affine
from drillaid.table.aiming import Aimer
from drillaid.table.eye import Eye, Look
from drillaid.table.machine import Machine

# After a way of w mm the board may lie elsewhere than expected by so much, and not more:
# matrices that are only roughly right, lost steps; more is a wrong matrix, or a pushed board.
SURPRISE_SHARE, SURPRISE_MM = 0.1, 0.7
# By no more two good pictures of a board at rest differ, with a new hole in one of them, too (with
# the tolerance of 0.03 mm it is 0.05 mm that no hole may be off untold); in poor ones by as much
# as the board's edges scatter. Measured on drawn pictures; more is looked at again.
SLIP_MM, SLIP_LOOKS = 0.02, 3
COVERED_MM = 12.0  # about the spindle's axis, by bit and chuck


class Watch:
    """spindle_mm: (2,), bench, on the board's upper face; spindle_error_mm: one sigma of it

    look: the newest, or None; looked_at_mm: (2,), where the table stood then;
    disturbed: set by who knows that hands were at the board since then
    """

    def __init__(
        self, machine: Machine, eye: Eye, aimer: Aimer, spindle_mm, spindle_error_mm: float
    ) -> None:
        self._machine, self._eye, self._aimer = machine, eye, aimer
        self._spindle = np.asarray(spindle_mm, dtype=np.float64).reshape(2)
        self._spindle_error = float(spindle_error_mm)
        self.look: Look | None = None
        self.looked_at_mm = np.zeros(2)
        self.disturbed = False

    def see(self, after_s: float, *, point=(0.0, 0.0), way_mm: float = 0.0):
        """A picture taken after after_s; BoardLost also if the board is not where the table
        took it. point: of the design, near the spindle: a small turn of the board then looks
        like no shift; way_mm: how far the table went since the last look."""
        before, was_at = self.look, self.looked_at_mm
        if before is not None:
            self._eye.expect(self._aimer.matrix @ (self._machine.xy_mm - was_at))
        look = yield from self._eye.look(after_s)
        self.look, self.looked_at_mm = look, self._machine.xy_mm
        if before is None or self.disturbed:
            self.disturbed = False
            return
        shift = look.bench_mm(point) - before.bench_mm(point)
        far = float(np.hypot(*self._aimer.observe(self.looked_at_mm - was_at, shift)))
        if far > SURPRISE_MM + SURPRISE_SHARE * way_mm:
            raise BoardLost(
                f"The board lies {far:.2f} mm from where the table should have taken it: it was "
                "moved, the table is blocked, or its matrix is wrong."
            )

    def stayed(self, after_s: float, point, hole: int):
        """Of a hole just drilled, in a picture taken after after_s: how far it lies from under
        the spindle, (2,), bench. BoardSlipped if it moved since the last look, between which
        and the bit's way down no picture tells anything."""
        before, seen = self.look.bench_mm(point), []
        for _ in range(SLIP_LOOKS):
            self.look = yield from self._eye.look(after_s)
            seen.append(self.look.bench_mm(point))
            slip = float(np.hypot(*(np.mean(seen, axis=0) - before)))
            if slip <= max(SLIP_MM, self.look.registration.placement.residual_rms_mm):
                break
            after_s = self.look.time_s
        else:
            raise BoardSlipped(
                f"The board moved by {slip:.2f} mm while hole {hole} was drilled, and that hole "
                "may lie beside its place: look at it, the bit, the clamps and for lost steps."
            )
        return self.off_mm(point)

    def without_land(self, stops) -> list[int]:
        """Numbers of the holes at which no land was seen in the last picture; bit and chuck
        cover what is near the spindle, which says nothing."""
        bare = self.look.registration.placement.holes_without_land
        far = {s.hole for s in stops if np.hypot(*self.off_mm(s.xy_mm)) > COVERED_MM}
        return sorted(far.intersection(bare))

    def off_mm(self, xy_mm) -> np.ndarray:
        """(2,), bench: how far that point of the design must still move to lie under the
        spindle, as last seen."""
        return self._spindle - self.look.bench_mm(xy_mm)

    def expected_error_mm(self, hole: int) -> float:
        """One sigma of the distance, of hole and spindle together."""
        return float(np.hypot(self.look.expected_error_mm(hole), self._spindle_error))

    def target_mm(self, xy_mm) -> np.ndarray:
        """(2,), table: where that point lies under the spindle."""
        return self._aimer.target(self.looked_at_mm, self.off_mm(xy_mm))

    def to_table(self) -> Affine:
        """As `target_mm`, for all points: design mm -> table mm."""
        back = np.linalg.inv(self._aimer.matrix)
        board = self.look.registration.placement.matrix
        offset = self.looked_at_mm + back @ (self._spindle - board.offset)
        return Affine(np.column_stack([-back @ board.linear, offset]))
