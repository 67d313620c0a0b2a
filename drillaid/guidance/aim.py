"""How the target lies under the spindle, and whether that can be vouched for."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from drillaid.geometry import Affine
from drillaid.guidance.work import Work

ON, OFF, CANNOT_VOUCH = "on", "off", "cannot_vouch"
NO_LAND = "No land was seen here: look before you drill."


@dataclass(frozen=True)
class Settings:
    """How strict the guidance is. All times in seconds of the one clock used throughout.

    tolerance_mm: how far a bit may stand from its hole's true place. 0.2 mm leaves
      0.15 mm of ring on a 1.6 mm land drilled 0.9 mm
    sigmas: the expected error is counted this many times. It is one sigma of a
      distance in the plane, so a place said to be within tolerance is outside
      with a chance of exp(-sigmas^2) at most: 1.8 % for 2
    enter: on target is entered with at most this part of the room that is left
      after the expected error, and kept up to all of it (no flicker at the edge)
    steady_s, steady_frames: this long and this often within, one after the other
    stale_s: an older picture says nothing about where the board is now
    moved_grace_s: a confirmation still counts so long after the board was seen to
      leave the place (the pedal comes after the bit is up again)
    hidden_grace_s: … and so long while nothing is seen (the bit and a hand are in the way)
    bit_change_s: for the time left, until a change has been timed
    """

    tolerance_mm: float = 0.2
    sigmas: float = 2.0
    enter: float = 0.8
    steady_s: float = 0.25
    steady_frames: int = 3
    stale_s: float = 0.5
    moved_grace_s: float = 2.0
    hidden_grace_s: float = 20.0
    bit_change_s: float = 60.0

    def __post_init__(self):
        for name in ("tolerance_mm", "sigmas", "stale_s"):
            if not 0 < getattr(self, name) < math.inf:
                raise ValueError(f"{name} must be a positive number")
        if not 0 < self.enter <= 1:
            raise ValueError("enter must be above 0 and at most 1")


@dataclass(frozen=True)
class Aim:
    """One picture's answer for one target.

    off_mm: how far the target must still move, bench axes, to lie under the
      spindle axis at the board's upper face
    expected_error_mm: one sigma of the distance between stated and true place,
      of the hole and the spindle axis together; inf where nothing is known
    room_mm: how far off it may be and still be vouched for; below 0: nowhere
    under_hole: another hole that lies under the spindle instead, or None
    land_missing: no land was seen at the target, though one should be
    """

    off_mm: tuple[float, float]
    distance_mm: float
    expected_error_mm: float
    room_mm: float
    under_hole: int | None = None
    land_missing: bool = False

    def verdict(self, *, part: float = 1.0) -> str:
        """ON within `part` of the room, CANNOT_VOUCH where there is no room, else OFF."""
        if not self.room_mm > 0:
            return CANNOT_VOUCH
        return ON if self.distance_mm <= part * self.room_mm else OFF


def aim(
    work: Work,
    row: int,
    matrix: Affine,
    spindle_mm: np.ndarray,
    expected_error_mm: float,
    settings: Settings,
    *,
    land_missing: bool = False,
) -> Aim | None:
    """None where the transform gives no finite place.

    matrix: design mm -> bench mm on the upper face; spindle_mm: (2,) there
    """
    off = np.asarray(spindle_mm) - matrix(work.xy_mm)
    distances = np.hypot(*off.T)
    distance = float(distances[row])
    if not math.isfinite(distance):
        return None
    if not (expected_error_mm >= 0 and math.isfinite(expected_error_mm)):
        expected_error_mm = math.inf
    return Aim(
        off_mm=(float(off[row, 0]), float(off[row, 1])),
        distance_mm=distance,
        expected_error_mm=expected_error_mm,
        room_mm=settings.tolerance_mm - settings.sigmas * expected_error_mm,
        under_hole=_other_hole(work, row, distances, settings.tolerance_mm),
        land_missing=land_missing,
    )


def _other_hole(work: Work, row: int, distances: np.ndarray, within_mm: float) -> int | None:
    nearest = int(np.argmin(distances))
    hole = work.stops[nearest].hole
    closer = distances[nearest] < distances[row] - 1e-9 and distances[nearest] <= within_mm
    return hole if closer and hole != work.stops[row].hole else None
