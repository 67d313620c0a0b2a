"""Live guidance: camera, finder, session and record joined, one picture a step.

No thread, no file and no clock of its own: a command's loop or a window's
timer calls `step`, and hands in the clock that stamps the frames.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from drillaid.errors import CameraError, CameraTimeout, InputError
from drillaid.guidance.events import (
    Action,
    AsSeen,
    Event,
    Pause,
    RegistrationView,
    Resume,
    Seen,
)
from drillaid.guidance.finder import BoardFinder
from drillaid.guidance.guidance import HOLD, LOST, MOVE, ON_TARGET, UNSURE, Guidance
from drillaid.guidance.keeping import Keeper
from drillaid.guidance.seen_hole import HoleWatch
from drillaid.guidance.session import Session
from drillaid.inspection.agreement import Agreement
from drillaid.inspection.recheck import Recheck
from drillaid.registration.result import Registration
from drillaid.rig.budget import Budget
from drillaid.rig.frame import Camera, Frame
from drillaid.rig.still_true import MARK_MOVED, MOVED, RigWatch, Verdict

_WORKING = (MOVE, HOLD, ON_TARGET, UNSURE)
READ_TIMEOUT_S = 0.25  # a key or a click is answered after that at the latest
FORGET_AFTER_S = 1.0  # without pictures for so long, the board may be anywhere


class LiveGuidance:
    """camera: for live sources a `NewestFrame`, so that pictures never queue up
    clock: seconds, the clock of the camera's frames; None where time stands still
      between pictures (recordings): then the last picture's time is now
    keeper: None keeps no record (a rehearsal)
    listen: called with each Guidance, after its events are on the disk
    stopwatch: seconds; states the work on each picture as latency where the
      frames' clock does not run meanwhile
    check: called with each picture; raises InputError for one that does not suit
    watch: looks at the rig's reference marks; while they say that it has moved, nothing is
      on target
    budget: what limits the hole in hand, told with each "registered"; None where nobody knows
    recheck: of a job that is gone on with: holds the first pictures against the record; where
      they differ the work is paused until `Resume` (the record stands) or `AsSeen`
    hole_watch: counts a hole that is seen to be drilled, without a word from the operator

    frame, registration: of the last picture; trouble: the camera's, or None;
    frames: how many came; ended: the recording is over.
    """

    def __init__(
        self,
        camera: Camera,
        finder: BoardFinder,
        session: Session,
        *,
        clock: Callable[[], float] | None,
        keeper: Keeper | None = None,
        listen: Callable[[Guidance], None] | None = None,
        stopwatch: Callable[[], float] | None = None,
        check: Callable[[Frame], None] | None = None,
        watch: RigWatch | None = None,
        hole_watch: HoleWatch | None = None,
        budget: Callable[[Guidance, Registration], Budget | None] | None = None,
        recheck: Recheck | None = None,
    ) -> None:
        self.camera, self.finder, self.session = camera, finder, session
        self._clock, self._keeper, self._listen = clock, keeper, listen
        self._stopwatch, self._check, self._watch = stopwatch, check, watch
        self.hole_watch, self._budget = hole_watch, budget
        self._recheck = recheck
        self._differs: Agreement | None = None
        self.frame: Frame | None = None
        self.registration: Registration | None = None
        self.guidance: Guidance | None = None
        self.trouble: str | None = None
        self.frames = 0
        self.ended = False
        self._pending: list[Event] = []

    def step(self, timeout_s: float = READ_TIMEOUT_S) -> Guidance | None:
        """The guidance after the next picture, or after timeout_s without one.

        None at the end of a recording. Raises InputError for pictures that do
        not suit (another size than the rig's); the camera's failures are
        guidance too, with `trouble` set.
        """
        try:
            frame = self.camera.read(timeout_s)
        except (CameraError, InputError) as error:
            return self._without_picture(error)
        if frame is None:
            self.ended = True
            return None
        return self._with_picture(frame)

    def act(self, action: Action) -> Guidance:
        """What the operator did; `refusal` says why it did not count, if so."""
        guidance = self.session.act(action, self._now())
        decided = isinstance(action, Resume | AsSeen) and guidance.refusal is None
        if decided and self._differs is not None:
            self._differs = None
            if isinstance(action, Resume):
                self._note("record_kept")
        return self._out(guidance)

    def keep_with(self, keeper: Keeper) -> None:
        """From here on all is recorded: what came before was looking, not drilling."""
        self._keeper = keeper

    def hold_against(self, recheck: Recheck | None) -> None:
        """The next pictures are held against the record, as with `recheck`."""
        self._recheck = recheck

    @property
    def unwritten(self) -> str | None:
        """Why the record cannot be written at present, or None."""
        return None if self._keeper is None else self._keeper.trouble

    # One picture

    def _with_picture(self, frame: Frame) -> Guidance:
        if self._check is not None:
            self._check(frame)
        started = None if self._stopwatch is None else self._stopwatch()
        self._mind_the_clock(frame)
        self.frame = frame
        self.frames += 1
        self._back()
        self._look_at_marks(frame)
        self.registration = self.finder.look(frame.image)
        self._hold_against_record(frame)
        view = RegistrationView.of(self.registration, frame)
        guidance = self.session.step(view, now_s=max(self._now(), frame.time_s))
        guidance = self._told_what_limits(guidance)
        guidance = self._look_for_a_hole(guidance)
        if started is not None:
            guidance = _with_latency(guidance, 1000 * (self._stopwatch() - started))
        return self._out(guidance)

    def _hold_against_record(self, frame: Frame) -> None:
        """Before anything can be on target in this picture."""
        if self._recheck is None:
            return
        agreed = self._recheck.look(frame.image, self.registration, self._holes_done())
        if agreed is None:
            return
        self._recheck = None
        self._note(
            "record_checked", agrees=agreed.ok, message=agreed.sentence, agreeing=agreed.agreeing,
            missing=list(agreed.missing), extra=list(agreed.extra), unseen=list(agreed.unseen),
        )  # fmt: skip
        if not agreed.ok:
            self._differs = agreed
            paused = self.session.act(Pause(), self._now())
            self._pending += paused.events if paused.refusal is None else ()

    def _holes_done(self) -> frozenset[int]:
        progress = self.session.progress
        return frozenset(h for h in progress.work.by_hole if progress.hole_is_done(h))

    def _told_what_limits(self, guidance: Guidance) -> Guidance:
        """The event "registered" with the budget of the hole in hand."""
        if self._budget is None or all(e.event != "registered" for e in guidance.events):
            return guidance
        budget = self._budget(guidance, self.registration)
        if budget is None:
            return guidance
        more = {"budget_mm": budget.to_data(), "message": budget.sentence()}
        events = tuple(
            replace(e, detail=e.detail | more) if e.event == "registered" else e
            for e in guidance.events
        )
        return replace(guidance, events=events)

    def _look_for_a_hole(self, guidance: Guidance) -> Guidance:
        if self.hole_watch is None or guidance.state not in _WORKING:
            return guidance
        if not self.hole_watch.look(self.frame.image, self.registration, guidance):
            return guidance
        counted = self.session.act(Seen(), self._now())
        if counted.refusal is not None:
            self.hole_watch.forget()
        return replace(counted, events=(*guidance.events, *counted.events))

    def _mind_the_clock(self, frame: Frame) -> None:
        last = self.frame
        if last is not None and (frame.time_s < last.time_s or frame.number < last.number):
            self.session.camera_restarted()
            self.finder.forget()

    def _look_at_marks(self, frame: Frame) -> None:
        verdict = None if self._watch is None else self._watch.look(frame.image, frame.time_s)
        if verdict is None:
            return
        self.session.rig_is(None if verdict.holds else verdict.message)
        self._note(_EVENT_OF.get(verdict.state, "rig_true"), **_detail_of(verdict))

    def _back(self) -> None:
        if self.trouble is not None:
            self.trouble = None
            self._note("camera_back")

    # No picture

    def _without_picture(self, error: Exception) -> Guidance:
        quiet = isinstance(error, CameraTimeout) and not self._silent_too_long()
        if not quiet:
            if self.trouble is None:
                self._note("camera_lost", reason=str(error))
                self.finder.forget()
            self.trouble = str(error)
        if not isinstance(error, CameraTimeout | InputError):
            self._try_to_reopen()
        guidance = self.session.look(self._now())
        if self.trouble is not None and guidance.state == LOST:
            guidance = replace(guidance, message=self.trouble)
        return self._out(guidance)

    def _silent_too_long(self) -> bool:
        return self.frame is None or self._now() - self.frame.time_s > FORGET_AFTER_S

    def _try_to_reopen(self) -> None:
        """Once for each step. A `NewestFrame` does it by itself and has no `reopen`."""
        reopen = getattr(self.camera, "reopen", None)
        if reopen is None:
            return
        try:
            reopen()
        except CameraError as error:
            self.trouble = str(error)

    # Out

    def _now(self) -> float:
        if self._clock is not None:
            return self._clock()
        return 0.0 if self.frame is None else self.frame.time_s

    def _note(self, name: str, **detail) -> None:
        number = None if self.frame is None else self.frame.number
        self._pending.append(Event(t=self._now(), event=name, frame=number, detail=detail))

    def _out(self, guidance: Guidance) -> Guidance:
        if self._pending:
            guidance = replace(guidance, events=(*self._pending, *guidance.events))
            self._pending = []
        if self._differs is not None:
            guidance = replace(guidance, message=self._differs.sentence, differs=self._differs)
        if self._keeper is not None:
            guidance = self._keeper.keep(guidance, self.session)
        self.guidance = guidance
        if self._listen is not None:
            self._listen(guidance)
        return guidance


_EVENT_OF = {MOVED: "rig_moved", MARK_MOVED: "mark_moved"}


def _detail_of(verdict: Verdict) -> dict:
    return {
        "reason": verdict.message,
        "moved_mm": verdict.moved_mm,
        "marks": list(verdict.marks),
        "strays": list(verdict.strays),
    }


def _with_latency(guidance: Guidance, latency_ms: float) -> Guidance:
    events = tuple(replace(event, latency_ms=latency_ms) for event in guidance.events)
    return replace(guidance, latency_ms=latency_ms, events=events)
