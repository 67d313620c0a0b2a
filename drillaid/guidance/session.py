"""The guidance of one board: pictures' answers and the operator's actions in, `Guidance` out.

A pure state machine: no threads, no files, no clock. All times are handed in,
in seconds of the one monotonic clock that stamps the frames.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from drillaid.guidance import events as ev
from drillaid.guidance import guidance as g
from drillaid.guidance.aim import CANNOT_VOUCH, Aim, Settings, aim
from drillaid.guidance.cautions import at_bit_change
from drillaid.guidance.ledger import Ledger
from drillaid.guidance.pace import Pace
from drillaid.guidance.progress import Tally
from drillaid.guidance.steady import Steady
from drillaid.guidance.work import Stop, Work


class Session:
    """spindle_mm: (2,), where the spindle axis meets the board's upper face, bench mm;
    spindle_error_mm: one sigma of that distance, counted into every expected error.
    """

    def __init__(
        self,
        work: Work,
        spindle_mm,
        settings: Settings | None = None,
        *,
        spindle_error_mm: float = 0.0,
    ) -> None:
        self.settings = settings or Settings()
        self._work = work
        self._spindle = np.asarray(spindle_mm, dtype=np.float64).reshape(2)
        if not np.isfinite(self._spindle).all() or not spindle_error_mm >= 0:
            raise ValueError("the spindle's place must be known")
        self._spindle_error = float(spindle_error_mm)
        self._ledger = Ledger(work)
        self._pace = Pace(self.settings.bit_change_s)
        self._paused = False
        self._announced_bit: float | None = None
        self._announced_end = False
        self._was_on = False
        self._tallied: tuple | None = None
        self._untrue: str | None = None
        self._forget_pictures()

    @classmethod
    def resume(cls, work: Work, spindle_mm, facts: Iterable[tuple], *args, **kwargs) -> Session:
        """A session in which `facts`, (event, hole, detail) each, have already happened.

        Events that are no facts are passed over. Which bit is in the chuck is asked
        for again. Raises ValueError where the facts do not belong to this work.
        """
        session = cls(work, spindle_mm, *args, **kwargs)
        for name, hole, detail in facts:
            if name in ev.FACTS:
                session._ledger.apply(name, hole, detail)
        session._ledger.fitted_mm = None
        return session

    @property
    def ledger(self) -> Ledger:
        return self._ledger

    @property
    def progress(self):
        return self._ledger.progress

    def camera_restarted(self) -> None:
        """Frame numbers and times begin anew; nothing seen before counts."""
        self._forget_pictures()
        self._pace.interrupt()

    def rig_is(self, untrue: str | None) -> None:
        """Why the rig must not be trusted, or None: it is as it was calibrated.

        While it is untrue nothing is on target and no place is vouched for.
        """
        if untrue is not None:
            self._steady.reset()
        self._untrue = untrue

    def step(self, view: ev.RegistrationView, now_s: float | None = None) -> g.Guidance:
        """One picture. now_s: when its answer is shown; None: at once.

        A picture not newer than one already seen is passed over; one older than
        stale_s at now_s counts as one in which nothing was found.
        """
        if not view.time_s > self._newest:
            return self.look(self._now if now_s is None else now_s)
        self._newest = view.time_s
        self._tell_time(max(view.time_s, view.time_s if now_s is None else now_s))
        age = self._now - view.time_s
        self._latency_ms = 1000 * age
        if view.matrix is not None and not np.isfinite(view.matrix.matrix).all():
            view = replace(view, matrix=None, reason="the answer is no place on the bench")
        self._view = view
        self._aim = None
        if age > self.settings.stale_s:
            self._lost_why = f"the picture is {age:.1f} s old"
        elif view.matrix is None:
            self._lost_why = view.reason
        else:
            self._aim = self._aim_at_target()
            self._lost_why = ""
        self._feed_steady()
        return self._guidance([self._event("frame")])

    def look(self, now_s: float) -> g.Guidance:
        """No picture came: only time has passed."""
        self._tell_time(now_s)
        return self._guidance([])

    def act(self, action: ev.Action, time_s: float) -> g.Guidance:
        """The operator did something; `Guidance.refusal` says why it did not count, if so."""
        self._tell_time(time_s)
        made: list[ev.Event] = []
        try:
            self._carry_out(action, made)
        except _Refused as refused:
            made.append(self._event("refused", reason=str(refused)))
            return self._guidance(made, refusal=str(refused))
        return self._guidance(made)

    # What the operator does

    def _carry_out(self, action: ev.Action, made: list[ev.Event]) -> None:
        match action:
            case ev.Pedal() if self._due_bit() is not None and not self._paused:
                self._fit(self._due_bit(), made)
            case ev.Pedal():
                self._confirm(made, forced=False)
            case ev.Seen():
                self._confirm(made, forced=False, seen=True)
            case ev.Confirm(forced=forced, hole=hole):
                self._meant(hole)
                self._confirm(made, forced=forced)
            case ev.BitFitted(bit_mm=bit):
                self._fit(bit, made)
            case ev.Undo():
                self._undo(made)
            case ev.Skip():
                self._need_target("skip")
                self._change(made, "skipped", self._target().hole)
            case ev.Next():
                self._next(made)
            case ev.GoTo(hole=hole):
                self._go_to(hole, made)
            case ev.Revisit():
                if not self.progress.skipped:
                    raise _Refused("no hole is skipped.")
                self._change(made, "taken_back", holes=list(self.progress.holes_skipped()))
            case ev.AsSeen(drilled=drilled, undrilled=undrilled):
                self._as_seen(drilled, undrilled, made)
            case ev.Pause() | ev.Resume():
                self._pause(isinstance(action, ev.Pause), made)
            case _:
                raise TypeError(f"{action!r} is no action")

    def _meant(self, hole: int | None) -> None:
        target = self._need_target("confirm")
        if hole is not None and hole != target.hole:
            raise _Refused(f"that was for hole {hole}, and hole {target.hole} is the one in hand.")

    def _confirm(self, made: list[ev.Event], *, forced: bool, seen: bool = False) -> None:
        target = self._need_target("confirm")
        if self._paused:
            raise _Refused("the work is paused; resume first.")
        if self._untrue is not None and not forced:
            raise _Refused(f"hole {target.hole} not counted: {self._untrue}")
        if self._due_bit() is not None:
            raise _Refused(f"hole {target.hole} wants the {target.bit_mm:g} mm bit; fit it first.")
        # A hole that is seen tells by itself that it was drilled; being on target before tells
        # where. However long that is ago, no other target came between.
        counted = self._steady.last_on if seen else self._steady.counts(self._now)
        if counted is None and not forced:
            raise _Refused(self._why_not(target))
        self._pace.stop_done(self._now)
        remaining = self.progress.left.intersection(self.progress.rows_of_target())
        name = "hole_done" if len(remaining) == 1 else "stop_done"
        detail = {"part": target.part, "parts": target.parts, "bit_mm": target.bit_mm}
        detail["forced"] = counted is None
        if seen:
            detail["by"] = "seen"
        at = counted or (self._aim if self._fresh() else None)
        self._change(made, name, target.hole, aim_seen=at, **detail)

    def _why_not(self, target: Stop) -> str:
        what = f"hole {target.hole} not counted: "
        if not self._fresh():
            return f"{what}it was not on target before the board went out of sight."
        if self._aim.under_hole is not None:
            return f"{what}hole {self._aim.under_hole} is under the spindle."
        if self._aim.verdict() == CANNOT_VOUCH:
            return f"{what}its place is known to {self._aim.expected_error_mm:.2f} mm only."
        if self._steady.holding:
            return f"{what}it has not been held still yet."
        return f"{what}it is {self._aim.distance_mm:.2f} mm off."

    def _fit(self, bit_mm: float, made: list[ev.Event]) -> None:
        known = [bit for bit in self._work.bits_mm if math.isclose(bit, bit_mm, abs_tol=1e-6)]
        if not known:
            raise _Refused(f"no hole wants a {bit_mm:g} mm bit.")
        self._pace.bit_changed(self._now)
        self._change(made, "bit_fitted", bit_mm=known[0])

    def _undo(self, made: list[ev.Event]) -> None:
        what = self._ledger.last_change
        if what is None:
            raise _Refused("there is nothing to undo.")
        self._change(made, "undone", what=what)

    def _next(self, made: list[ev.Event]) -> None:
        self._need_target("pass over")
        row = self.progress.other_row(self._ledger.fitted_mm)
        if row is None:
            raise _Refused("no other hole is left.")
        self._aim_for(row, made)

    def _go_to(self, hole: int, made: list[ev.Event]) -> None:
        p = self.progress
        if hole not in self._work.by_hole:
            raise _Refused(f"there is no hole {hole}.")
        if p.hole_is_done(hole):
            raise _Refused(f"hole {hole} is drilled already; undo it first if it is not.")
        if not p.skipped.isdisjoint(self._work.by_hole[hole]):
            self._change(made, "taken_back", holes=[hole])
        self._aim_for(self.progress.row_of(hole), made)

    def _aim_for(self, row: int, made: list[ev.Event]) -> None:
        stop = self._work.stops[row]
        self._change(made, "target", stop.hole, part=stop.part)

    def _as_seen(self, drilled, undrilled, made: list[ev.Event]) -> None:
        unknown = set(drilled).union(undrilled).difference(self._work.by_hole)
        if unknown or not (drilled or undrilled):
            raise _Refused("these are no holes of this board.")
        self._change(made, "as_seen", drilled=sorted(drilled), undrilled=sorted(undrilled))
        if self._paused:
            self._pause(False, made)

    def _pause(self, pause: bool, made: list[ev.Event]) -> None:
        if pause == self._paused:
            raise _Refused("the work is paused already." if pause else "the work is not paused.")
        self._paused = pause
        self._pace.interrupt()
        self._steady.reset()
        made.append(self._event("paused" if pause else "resumed"))

    def _change(
        self, made: list[ev.Event], fact: str, hole: int | None = None, *, aim_seen=None, **detail
    ) -> None:
        """Every change of what is done passes here: into the ledger and out as an event."""
        made.append(self._event(fact, hole=hole, seen=aim_seen, **detail))
        self._ledger.apply(fact, hole, detail)
        self._steady.reset()
        if fact not in ("stop_done", "hole_done", "bit_fitted"):
            self._pace.begin(self._now)
        self._aim = self._aim_at_target() if self._fresh_picture() else None

    # What is known now

    def _forget_pictures(self) -> None:
        self._steady = Steady(self.settings)
        self._view: ev.RegistrationView | None = None
        self._aim: Aim | None = None
        self._lost_why = ""
        self._registered = False
        self._latency_ms: float | None = None
        self._newest = self._now = -math.inf

    def _tell_time(self, now_s: float) -> None:
        if not math.isfinite(now_s):
            raise ValueError("times must be finite")
        self._now = max(self._now, now_s)

    def _fresh_picture(self) -> bool:
        view = self._view
        if view is None or view.matrix is None:
            return False
        return self._now - view.time_s <= self.settings.stale_s

    def _fresh(self) -> bool:
        return self._aim is not None and self._fresh_picture()

    def _target(self) -> Stop | None:
        row = self.progress.target
        return None if row is None else self._work.stops[row]

    def _need_target(self, what: str) -> Stop:
        target = self._target()
        if target is None:
            raise _Refused(f"there is no hole left to {what}.")
        return target

    def _due_bit(self) -> float | None:
        target = self._target()
        if target is None or target.bit_mm == self._ledger.fitted_mm:
            return None
        return target.bit_mm

    def _aim_at_target(self) -> Aim | None:
        row, view = self.progress.target, self._view
        if row is None:
            return None
        errors, hole = view.expected_error_mm, self._work.stops[row].hole
        known = errors is not None and 0 < hole <= len(errors)
        error = math.hypot(float(errors[hole - 1]), self._spindle_error) if known else math.inf
        return aim(
            self._work, row, view.matrix, self._spindle, error, self.settings,
            land_missing=hole in view.land_missing,
        )  # fmt: skip

    def _feed_steady(self) -> None:
        if self._untrue is not None:
            self._steady.reset()
        elif self._fresh():
            self._steady.see(self._aim, self._view.time_s)
        else:
            self._steady.hide()

    def _state(self) -> str:
        if self.progress.target is None:
            return g.FINISHED
        if self._paused:
            return g.PAUSED
        if self._untrue is not None:
            return g.UNTRUE
        if self._due_bit() is not None:
            return g.CHANGE_BIT
        if not self._fresh():
            return g.LOST
        if self._steady.on:
            return g.ON_TARGET
        if self._steady.holding:
            return g.HOLD
        return g.UNSURE if self._aim.verdict() == CANNOT_VOUCH else g.MOVE

    # What is said

    def _event(self, name: str, *, hole: int | None = None, seen: Aim | None = None, **detail):
        target = self._target()
        seen = seen or (self._aim if name in ("frame", "on_target") and self._fresh() else None)
        fresh = self._fresh_picture()
        if hole is None and name not in ("undone", "taken_back", "bit_fitted", "finished", "as_seen"):
            hole = None if target is None else target.hole
        return ev.Event(
            t=self._now,
            event=name,
            frame=None if self._view is None else self._view.frame,
            hole=hole,
            off_mm=None if seen is None else seen.off_mm,
            distance_mm=None if seen is None else seen.distance_mm,
            expected_error_mm=None if seen is None else seen.expected_error_mm,
            matrix=self._view.matrix if fresh and self._view.on_bench else None,
            latency_ms=self._latency_ms,
            detail=detail,
        )

    def _guidance(self, made: list[ev.Event], refusal: str | None = None) -> g.Guidance:
        state = self._state()
        self._announce(state, made)
        board, by_bit = self._tallies()
        target, shown = self._target(), self._aim if self._fresh() else None
        change = self._bit_change(by_bit) if state == g.CHANGE_BIT else None
        if state == g.UNTRUE:
            message = self._untrue
        elif change is None:
            message = g.sentence(state, target, shown, board.skipped, self._lost_why)
        else:
            holes = f"{change.holes} hole" + "s" * (change.holes != 1)
            message = f"Fit the {change.bit_mm:g} mm bit: {holes} to drill with it."
        return g.Guidance(
            state=state,
            message=message,
            time_s=self._now,
            frame=None if self._view is None else self._view.frame,
            target=target,
            aim=shown,
            matrix=self._view.matrix if self._fresh_picture() else None,
            can_confirm=state not in (g.FINISHED, g.PAUSED, g.UNTRUE, g.CHANGE_BIT)
            and self._steady.counts(self._now) is not None,
            refusal=refusal,
            bit_mm=self._ledger.fitted_mm,
            bit_change=change,
            progress=board,
            by_bit=by_bit,
            skipped=self.progress.holes_skipped(),
            time_left_s=self._time_left_s(by_bit),
            latency_ms=self._latency_ms,
            events=tuple(made),
        )

    def _announce(self, state: str, made: list[ev.Event]) -> None:
        registered = self._fresh_picture()
        if registered != self._registered:
            self._registered = registered
            made.append(self._event("registered" if registered else "lost"))
        on_target = state == g.ON_TARGET
        if on_target and not self._was_on:
            made.append(self._event("on_target"))
        self._was_on = on_target
        due = self._due_bit()
        if due is not None and due != self._announced_bit:
            made.append(self._event("bit_change", bit_mm=due, from_mm=self._ledger.fitted_mm))
        self._announced_bit = due
        ended = state == g.FINISHED
        if ended and not self._announced_end:
            made.append(self._event("finished", skipped=list(self.progress.holes_skipped())))
        self._announced_end = ended

    def _tallies(self) -> tuple[Tally, tuple[Tally, ...]]:
        p = self.progress
        if self._tallied is None or self._tallied[0] is not p:
            by_bit = tuple(p.tally(bit) for bit in self._work.bits_mm)
            self._tallied = (p, p.tally(), by_bit)
        return self._tallied[1], self._tallied[2]

    def _bit_change(self, by_bit: tuple[Tally, ...]) -> g.BitChange:
        fitted, due = self._ledger.fitted_mm, self._due_bit()
        counts = {tally.bit_mm: tally for tally in by_bit}
        behind = 0 if fitted is None else counts[fitted].skipped
        aside = tuple(
            hole
            for hole in self.progress.holes_skipped()
            if self._work.stops[self._work.by_hole[hole][0]].bit_mm == fitted
        )
        return g.BitChange(due, fitted, counts[due].left, behind, at_bit_change(due), aside)

    def _time_left_s(self, by_bit: tuple[Tally, ...]) -> float | None:
        others = sum(t.left > 0 and t.bit_mm != self._ledger.fitted_mm for t in by_bit)
        return self._pace.left_s(len(self.progress.left), others)


class _Refused(Exception):
    """An action that does not count now; the text is for the operator."""
