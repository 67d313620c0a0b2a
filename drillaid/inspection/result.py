"""What was measured on a drilled board, as values that own their sentence for a person."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from drillaid.inspection.fit import Pin

if TYPE_CHECKING:
    from drillaid.inspection.remedy import Remedy

UNLIKELY = 0.1  # the probability, of either verdict, from which on it is too close to call
SURE = 0.975  # from which on it need not be told
DRILLED, UNDRILLED, HIDDEN = "drilled", "undrilled", "hidden"
MEASURED = "measured"
NOTHING_DRILLED, NOTHING_SEEN = "undrilled", "not_seen"  # of a whole board: nothing to measure


def as_pair(xy) -> tuple[float, float]:
    """A place (2,) as plain numbers."""
    return float(xy[0]), float(xy[1])


def percent(share: float) -> str:
    """ "62 %", and neither 0 nor 100 for what is not certain."""
    if 0 < share < 0.005:
        return "under 1 %"
    if 0.995 <= share < 1:
        return "over 99 %"
    return f"{100 * share:.0f} %"


@dataclass(frozen=True)
class HoleFinding:
    """One hole of the design as it is on the board. Lengths mm; None where not measured.

    reason: why this state, for a person
    centre_mm: bench frame on the board's upper face; without a rig None
    pixel: of the centre in the photograph
    off_mm: measured minus asked for, design axes; distance_mm its length
    place_mm: the centre in true mm in axes of the design's handedness (the bench
      with x mirrored for a mirrored face; design mm without a rig): what a rigid
      part meets
    ring_mm: narrowest copper left; breakout_deg: share of the rim outside the land
    expected_error_mm: one sigma of distance for off_mm, registration included
    centre_error_mm: the same for the hole's centre in the picture alone
    certainty: probability of a drilled or undrilled state against the contrary, 0 to 1
    """

    hole: int
    state: str
    reason: str = ""
    asked_mm: float = 0.0
    centre_mm: tuple[float, float] | None = None
    pixel: tuple[float, float] | None = None
    off_mm: tuple[float, float] | None = None
    distance_mm: float | None = None
    place_mm: tuple[float, float] | None = None
    diameter_mm: float | None = None
    diameter_error_mm: float | None = None
    ring_mm: float | None = None
    breakout_deg: float | None = None
    expected_error_mm: float | None = None
    centre_error_mm: float | None = None
    certainty: float = 1.0


@dataclass(frozen=True)
class PartFinding:
    """fits: None where a hole of the part was not measured; reason then says which.

    play_mm: how far it may still move in its tightest direction, negative: misses by
    play_error_mm: one sigma, from the errors of the holes that hold the part
    tightest_hole: the hole with the least room
    probability: that it goes in, 0 to 1, the measuring errors counted
    sure: False where the holes may as well belong to several small parts
    remedy: what to do where it does not go in (`drillaid.inspection.remedy`)
    """

    part: str
    holes: tuple[int, ...]
    pitch_mm: float | None
    pin: Pin
    fits: bool | None
    play_mm: float | None = None
    play_error_mm: float | None = None
    tightest_hole: int | None = None
    reason: str = ""
    probability: float | None = None
    sure: bool = True
    remedy: Remedy | None = None

    @property
    def close(self) -> bool:
        """The measuring errors leave it open: a trial decides."""
        if self.fits is None:
            return False
        if self.probability is not None:
            return UNLIKELY < self.probability < 1 - UNLIKELY
        return abs(self.play_mm) < 2 * self.play_error_mm

    @property
    def sentence(self) -> str:
        if self.fits is None:
            return f"cannot be judged: {self.reason}"
        if self.close:
            return self._too_close()
        if self.fits:
            words = f"goes in, {self.play_mm:.2f} mm to spare"
        else:
            words = f"does not go in, {-self.play_mm:.2f} mm short at hole {self.tightest_hole}"
        if not self.sure and not self.fits:
            words += ", which does not matter if these are several small parts"
        if self.probability is not None and 1 - SURE < self.probability < SURE:
            words += f" (the probability that it goes in is {percent(self.probability)})"
        return words

    @property
    def what_to_do(self) -> str:
        """The remedy in words; empty where there is none."""
        if self.remedy is None:
            return ""
        return ("" if self.sure else "if it is one part: ") + self.remedy.sentence

    def _too_close(self) -> str:
        room = (
            f"{self.play_mm:.2f} mm to spare" if self.fits
            else f"{-self.play_mm:.2f} mm short at hole {self.tightest_hole}"
        )  # fmt: skip
        words = f"too close to call, try it: as measured {room}"
        if self.probability is not None:
            words += f", and it goes in with a probability of {percent(self.probability)}"
        return words


@dataclass(frozen=True)
class Summary:
    """Offsets over the drilled holes; None where none was drilled.

    mean_off_mm: mean offset vector, design axes; within_95_mm: the 95 % quantile
    of distances; worst_hole: number of the hole furthest off; other_size: made by another bit.
    """

    holes: int
    drilled: int
    undrilled: int
    hidden: int
    mean_off_mm: tuple[float, float] | None
    rms_mm: float | None
    within_95_mm: float | None
    worst_hole: int | None
    worst_mm: float | None
    narrowest_ring_mm: float | None
    broken_out: int
    parts: int
    parts_fitting: int
    parts_unknown: int
    close_calls: int = 0
    other_size: int = 0


@dataclass(frozen=True)
class Inspection:
    """status: MEASURED; NOTHING_DRILLED or NOTHING_SEEN, which are refusals: no hole was
    measured, and the message says what to do.

    true_scale: lengths on the board are real mm (a rig was given); else they rest
    on the artwork having its design size
    """

    status: str
    message: str
    holes: tuple[HoleFinding, ...] = ()
    parts: tuple[PartFinding, ...] = ()
    summary: Summary | None = None
    true_scale: bool = True
    seconds: dict[str, float] = field(default_factory=dict)

    @property
    def ok(self) -> bool:
        """Measured, and no part fails to go in."""
        return self.status == MEASURED and not any(part.fits is False for part in self.parts)
