"""What a session says after each step: frozen, and with its own sentence for the operator."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from drillaid.geometry import Affine
from drillaid.guidance.aim import CANNOT_VOUCH, NO_LAND, Aim
from drillaid.guidance.cautions import Caution
from drillaid.guidance.events import Event
from drillaid.guidance.progress import Tally
from drillaid.guidance.work import Stop

if TYPE_CHECKING:
    from drillaid.inspection.agreement import Agreement

# States, from what keeps the operator from drilling to what lets him.
FINISHED = "finished"  # nothing left; skipped holes may still be taken back
PAUSED = "paused"
UNTRUE = "untrue"  # the rig is no longer as it was calibrated
CHANGE_BIT = "change_bit"  # the target wants another bit than the one in the chuck
LOST = "lost"  # no fresh picture in which the board was found
MOVE = "move"  # the board must still move
UNSURE = "unsure"  # the expected error is too large to vouch for any place
HOLD = "hold"  # within tolerance, not yet steady
ON_TARGET = "on_target"  # drill


@dataclass(frozen=True)
class BitChange:
    """The bit wanted, the one in the chuck (None if not known), holes it is for, cautions.

    skipped_before: how many holes put aside still want the bit now in the chuck; aside: which
    """

    bit_mm: float
    from_mm: float | None
    holes: int
    skipped_before: int
    cautions: tuple[Caution, ...]
    aside: tuple[int, ...] = ()


@dataclass(frozen=True, eq=False)
class Guidance:
    """state: one of the names above; message: one sentence for the operator.

    aim: how the target lies in the last fresh picture, None without one; `off_mm`,
      `distance_mm` and `expected_error_mm` give its parts or None
    can_confirm: a confirmation would count now without being forced
    refusal: why the action just given was not carried out, or None
    progress: of the board; by_bit: of each bit, in drilling order
    time_left_s: None until enough holes have been timed
    events: what this step brought about
    differs: where record and board disagree, until the person has decided; else None
    """

    state: str
    message: str
    time_s: float
    frame: int | None
    target: Stop | None
    aim: Aim | None
    matrix: Affine | None
    can_confirm: bool
    refusal: str | None
    bit_mm: float | None
    bit_change: BitChange | None
    progress: Tally
    by_bit: tuple[Tally, ...]
    skipped: tuple[int, ...]
    time_left_s: float | None
    latency_ms: float | None
    events: tuple[Event, ...]
    differs: Agreement | None = None

    @property
    def hole(self) -> int | None:
        return None if self.target is None else self.target.hole

    @property
    def off_mm(self) -> tuple[float, float] | None:
        return None if self.aim is None else self.aim.off_mm

    @property
    def distance_mm(self) -> float | None:
        return None if self.aim is None else self.aim.distance_mm

    @property
    def expected_error_mm(self) -> float | None:
        return None if self.aim is None else self.aim.expected_error_mm

    @property
    def verdict(self) -> str | None:
        """ "on", "off" or "cannot_vouch" for the last fresh picture alone."""
        return None if self.aim is None else self.aim.verdict()


def direction(off_mm: tuple[float, float]) -> str:
    """Which way to push the board, in the bench's axes, as the operator faces it."""
    words = []
    for value, plus, minus in ((off_mm[0], "right", "left"), (off_mm[1], "away", "towards you")):
        if abs(value) >= 0.05:
            words.append(f"{abs(value):.1f} mm {plus if value > 0 else minus}")
    return " and ".join(words) or "a touch"


def sentence(state: str, target: Stop | None, aim: Aim | None, skipped: int, lost: str) -> str:
    """The operator's sentence for each state but CHANGE_BIT."""
    if state == FINISHED:
        rest = f"; {skipped} skipped, which can be taken back" if skipped else ""
        return f"Nothing left to drill{rest}."
    if state == PAUSED:
        return "Paused."
    name = _name(target)
    bare = f" {NO_LAND}" if aim is not None and aim.land_missing else ""
    if state == LOST:
        why = (lost or "no fresh picture").rstrip(".")
        return f"The board is not seen ({why})."
    if state == ON_TARGET:
        return f"Drill {name}.{bare}"
    if state == HOLD:
        return f"Hold still over {name}.{bare}"
    if aim.verdict() == CANNOT_VOUCH:
        return f"Cannot vouch for {name}: it is known to {aim.expected_error_mm:.2f} mm only."
    under = "" if aim.under_hole is None else f" (hole {aim.under_hole} is under the spindle)"
    return f"To {name}: move the board {direction(aim.off_mm)}{under}.{bare}"


def _name(target: Stop) -> str:
    part = f", place {target.part} of {target.parts}" if target.parts > 1 else ""
    return f"hole {target.hole}{part}"
