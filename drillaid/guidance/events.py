"""What goes into a session (pictures' answers, the operator's actions) and what comes out.

Times are seconds of one monotonic clock, the one that stamps the frames.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # the journal reads and writes events without numpy
    import numpy as np

    from drillaid.geometry import Affine
    from drillaid.registration.result import Registration
    from drillaid.rig.frame import Frame


@dataclass(frozen=True, eq=False)
class RegistrationView:
    """What one picture says about where the board lies.

    matrix: design mm -> bench mm on the board's upper face, None if not registered
    expected_error_mm: (N,) by hole number - 1, one sigma of the distance
    reason: why there is no matrix
    land_missing: numbers of the holes at which no land was seen, though one should be
    on_bench: False without a rig file: then the mm are those of the board's plane about
      the spindle axis, x to the right in the picture there and y up in it
    """

    frame: int
    time_s: float
    matrix: Affine | None = None
    expected_error_mm: np.ndarray | None = None
    reason: str = ""
    on_bench: bool = True
    land_missing: frozenset[int] = frozenset()

    @classmethod
    def of(cls, registration: Registration, frame: Frame) -> RegistrationView:
        """A registration without a rig has no place on the bench and counts as none."""
        placement = registration.placement
        if placement is None or placement.matrix is None:
            reason = registration.message if placement is None else "there is no rig"
            return cls(frame.number, frame.time_s, reason=reason)
        return cls(
            frame.number, frame.time_s, placement.matrix, placement.expected_error_mm,
            on_bench=placement.on_bench,
            land_missing=frozenset(placement.holes_without_land),
        )  # fmt: skip


@dataclass(frozen=True)
class Confirm:
    """The target has been drilled. forced: count it although we cannot vouch for the place.

    hole: the one that was shown when this was said, where that is known; pressed twice on a
    slow computer, it must not count the next one as well
    """

    forced: bool = False
    hole: int | None = None


@dataclass(frozen=True)
class Undo:
    """Takes back the last hole done, skipped or taken back."""


@dataclass(frozen=True)
class Skip:
    """Puts the target's hole aside."""


@dataclass(frozen=True)
class Next:
    """Another stop first; the present one stays on the list."""


@dataclass(frozen=True)
class GoTo:
    """This hole now. A skipped one is taken back."""

    hole: int


@dataclass(frozen=True)
class Revisit:
    """All skipped holes are taken back."""


@dataclass(frozen=True)
class Pause:
    """Nothing is on target until Resume."""


@dataclass(frozen=True)
class Resume:
    """The end of a pause."""


@dataclass(frozen=True)
class BitFitted:
    """This bit is in the chuck."""

    bit_mm: float


@dataclass(frozen=True)
class Pedal:
    """The one switch of a foot pedal: what was asked for has been done."""


@dataclass(frozen=True)
class Seen:
    """A picture shows the hole in the target's pad (`guidance.seen_hole`)."""


@dataclass(frozen=True)
class AsSeen:
    """The record is put right by what was seen on the board: these holes are drilled, and
    those are not. Ends the pause that the disagreement began."""

    drilled: tuple[int, ...] = ()
    undrilled: tuple[int, ...] = ()


Action = (
    Confirm | Seen | Undo | Skip | Next | GoTo | Revisit | Pause | Resume | BitFitted | Pedal | AsSeen
)

# Events of these names change what is done; `Session.resume` rebuilds a session from them.
FACTS = frozenset(
    {"target", "stop_done", "hole_done", "skipped", "taken_back", "undone", "bit_fitted", "as_seen"}
)


@dataclass(frozen=True)
class Event:
    """One thing that happened: a line of `guide --events`, a row of the journal.

    event: "frame", "registered" (by a rig file with budget_mm and a message), "lost",
      "on_target", "bit_change" (wanted),
      "finished", "paused", "resumed", "refused" (with a reason), "rig_moved", "rig_true",
      "mark_moved" (with reason, moved_mm and marks), "record_checked" (against the board, with
      agrees, missing, extra, unseen and a message), "record_kept", or one of FACTS.
    off_mm: in bench axes, without a rig file in those of `RegistrationView`
    matrix: design mm -> bench mm, hence None without a rig file
    detail: further keys of the line ("part", "bit_mm", "forced", "reason" …)
    """

    t: float
    event: str
    frame: int | None = None
    hole: int | None = None
    off_mm: tuple[float, float] | None = None
    distance_mm: float | None = None
    expected_error_mm: float | None = None
    matrix: Affine | None = None
    latency_ms: float | None = None
    detail: dict = field(default_factory=dict)

    def to_json(self) -> dict:
        """The object of `guide --events`; what is not known is null."""
        return {
            "t": self.t,
            "frame": self.frame,
            "event": self.event,
            "hole": self.hole,
            "off_mm": None if self.off_mm is None else list(self.off_mm),
            "distance_mm": self.distance_mm,
            "expected_error_mm": _finite(self.expected_error_mm),
            "matrix": None if self.matrix is None else self.matrix.matrix.tolist(),
            "latency_ms": self.latency_ms,
            **self.detail,
        }


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
