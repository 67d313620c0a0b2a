"""Guidance as lines of text: enough to work by, no flood."""

from __future__ import annotations

from statistics import median

from drillaid.commands import say
from drillaid.errors import StorageError
from drillaid.guidance import guidance as g
from drillaid.guidance.cautions import before_work
from drillaid.guidance.event_lines import EventLines
from drillaid.guidance.events import Event

SAY_AGAIN_S = 1.0
_TOLD = ("camera_lost", "camera_back", "skipped", "taken_back", "undone", "hole_done", "stop_done",
         "rig_moved", "rig_true", "mark_moved", "record_checked", "record_kept", "as_seen")  # fmt: skip


def cautions() -> None:
    """Once for each start."""
    for caution in before_work():
        say(str(caution))


class Teller:
    """Called with each Guidance: says what changed, writes the events' file.

    registered: pictures in which the board was found; failure: why the events'
    file has stopped, or None.
    """

    def __init__(self, lines: EventLines | None = None) -> None:
        self._lines = lines
        self._last: tuple | None = None
        self._said_at = float("-inf")
        self._limits: str | None = None
        self._latencies: list[float] = []
        self.registered = 0
        self.failure: str | None = None

    def __call__(self, guidance: g.Guidance) -> None:
        self._write(guidance.events)
        for event in guidance.events:
            self._count(event, seen=guidance.matrix is not None)
            if event.event in _TOLD:
                say(_words(event, guidance))
            self._say_what_limits(event)
        if guidance.refusal is not None:
            say(f"Refused: {guidance.refusal}")
        self._say_state(guidance)

    def _say_what_limits(self, event: Event) -> None:
        """Once, and again when it is something else."""
        limits = event.detail.get("budget_mm", {}).get("limits")
        if limits is not None and limits != self._limits:
            self._limits = limits
            say(event.detail["message"])

    def latency_ms(self) -> dict | None:
        """Median and the worst of a hundred, picture taken to guidance."""
        if not self._latencies:
            return None
        ranked = sorted(self._latencies)
        return {
            "median": median(ranked),
            "worst_of_100": ranked[min(len(ranked) - 1, int(0.99 * len(ranked)))],
        }

    def _count(self, event: Event, *, seen: bool) -> None:
        if event.event == "frame":
            self.registered += seen
            if event.latency_ms is not None:
                self._latencies.append(event.latency_ms)

    def _write(self, events: tuple[Event, ...]) -> None:
        if self._lines is None or self.failure is not None:
            return
        try:
            self._lines.write(*events)
        except StorageError as error:
            self.failure = str(error)
            say(self.failure)

    def _say_state(self, guidance: g.Guidance) -> None:
        if guidance.differs is not None:
            return  # said once, with what can be done about it
        what = (guidance.state, guidance.hole, guidance.target and guidance.target.part)
        if what == self._last:
            moving = guidance.state in (g.MOVE, g.UNSURE)
            if not moving or guidance.time_s - self._said_at < SAY_AGAIN_S:
                return
        elif guidance.state == g.CHANGE_BIT:
            for caution in guidance.bit_change.cautions:
                say(str(caution))
        self._last, self._said_at = what, guidance.time_s
        if guidance.state != g.HOLD:
            say(guidance.message)


def _words(event: Event, guidance: g.Guidance) -> str:
    reason = event.detail.get("reason", "")
    match event.event:
        case "camera_lost":
            return f"No pictures: {reason}"
        case "camera_back":
            return "Pictures come again."
        case "rig_moved" | "rig_true" | "mark_moved":
            return reason
        case "record_checked":
            return event.detail["message"]
        case "record_kept":
            return "The record stands; nothing was changed."
        case "as_seen":
            drilled, undrilled = event.detail["drilled"], event.detail["undrilled"]
            return (f"The record was put right: {len(drilled)} holes more are drilled, "
                    f"{len(undrilled)} are back on the list. u takes that back.")  # fmt: skip
        case "skipped":
            return f"Hole {event.hole} skipped."
        case "taken_back":
            return f"Back on the list: {', '.join(map(str, event.detail['holes']))}."
        case "undone":
            return f"Undone: {event.detail['what']}."
        case "stop_done":
            part, parts = event.detail["part"], event.detail["parts"]
            return f"Hole {event.hole}, place {part} of {parts} done."
    tally = guidance.progress
    off = "" if event.distance_mm is None else f", {event.distance_mm:.2f} mm off as seen"
    forced = ", not vouched for" if event.detail.get("forced") else ""
    return f"Hole {event.hole} done{off}{forced} ({tally.done} of {tally.holes})."
