"""What a drilling job shows and hears: frozen values, no behaviour."""

from __future__ import annotations

from dataclasses import dataclass, field

from drillaid.guidance.cautions import WARNING, Caution, at_bit_change, before_work
from drillaid.guidance.events import Event
from drillaid.guidance.progress import Tally
from drillaid.registration.words import missing_words
from drillaid.table.machine import Safe

# States, in about the order of a day.
CAUTIONS, CONNECTING, HOMING, FINDING = "cautions", "connecting", "homing", "finding"
CHANGE_BIT, MOVING, LOOKING = "change_bit", "moving", "looking"
DRILLING, LEVER, PAUSED = "drilling", "lever", "paused"
FINISHED, STOPPED = "finished", "stopped"
ASKS = (CAUTIONS, CHANGE_BIT, LEVER)  # wait for Confirm

_MOVING_TABLE = Caution(
    WARNING,
    "The table and the bit move by themselves: hands, tools and cables out of their way.",
    "our own rule",
)
_EMERGENCY = Caution(
    WARNING,
    "A stop in this program is no emergency stop. Do not go on without a real one, wired to "
    "the power of spindle and table and within reach.",
    "our own rule: a program's stop is no emergency stop",
)
_WATCH = Caution(
    WARNING,
    "Never leave it alone while it drills: dust, a broken bit or a loose clamp can start a fire "
    "or throw parts.",
    "common practice, no source",
)


def table_cautions() -> tuple[Caution, ...]:
    """Before the first motion, to be confirmed by the person."""
    return _EMERGENCY, _MOVING_TABLE, _WATCH, *before_work()


def bit_cautions(bit_mm: float) -> tuple[Caution, ...]:
    """With each request for another bit."""
    return (_MOVING_TABLE, *at_bit_change(bit_mm))


@dataclass(frozen=True)
class Stop:
    """Asked for by the person: hold now, make safe, end the job."""


@dataclass(frozen=True)
class JobSettings:
    """tolerance_mm: seen distance between hole and spindle at which it is drilled;
    corrections: at most so many after the first look
    vouch_mm: twice the expected error of a hole must stay below this, as in guidance
    dry_run: nothing goes down and nothing turns, each place is checked by the camera
    look_again: measure each hole right after it was drilled
    """

    tolerance_mm: float = 0.03
    corrections: int = 5
    vouch_mm: float = 0.2
    dry_run: bool = False
    look_again: bool = False
    thickness_mm: float = 1.6

    def __post_init__(self):
        if not 0.005 <= self.tolerance_mm <= 1.0:
            raise ValueError("tolerance_mm must be 0.005 to 1 mm")
        if not 0 <= self.corrections <= 50:
            raise ValueError("corrections must be 0 to 50")


@dataclass(frozen=True, eq=False)
class JobView:
    """state: one of the names above; message: one sentence for the person.

    cautions: to be shown with a question (states in ASKS); off_mm, distance_mm,
    expected_error_mm: of the target in the last picture; corrections: made for it;
    events: what this step brought about; refusal: why an action did not count
    """

    state: str
    message: str
    time_s: float
    hole: int | None = None
    bit_mm: float | None = None
    cautions: tuple[Caution, ...] = ()
    off_mm: tuple[float, float] | None = None
    distance_mm: float | None = None
    expected_error_mm: float | None = None
    corrections: int = 0
    progress: Tally | None = None
    events: tuple[Event, ...] = field(default=())
    refusal: str | None = None


@dataclass(frozen=True)
class Outcome:
    """How a job ended. reason: "finished", "stopped" (by the person) or the error's type;
    safe: what was reached; error: None unless something failed."""

    reason: str
    message: str
    safe: Safe
    error: Exception | None = None


def ask_about_lands(holes: list[int]) -> str:
    """Before the first hole, where lands are not to be seen."""
    words = missing_words(tuple(holes))
    return f"{words[:1].upper()}{words[1:]}. Look, and confirm to drill there all the same, or stop."
