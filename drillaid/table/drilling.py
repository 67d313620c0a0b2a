"""The drilling of one board by the table: find, plan, and hole by hole move, look, correct, drill.

No thread and no loop of its own: `step` goes on a little (a twentieth of a second, a picture)
and returns what to show. Whatever ends it, `close` included, leaves the machine safe.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from drillaid.errors import CannotPlace, DrillaidError, StorageError
from drillaid.geometry import Affine
from drillaid.guidance import events as ev
from drillaid.guidance.ledger import Ledger
from drillaid.guidance.work import Stop as Place
from drillaid.guidance.work import Work
from drillaid.table import job as j
from drillaid.table.afterwards import Afterwards, Measure
from drillaid.table.aiming import Aimer
from drillaid.table.controller import POLL_S
from drillaid.table.eye import Eye
from drillaid.table.machine import Machine, Sighting, State
from drillaid.table.strokes import strokes
from drillaid.table.watching import Watch

Plan = Callable[[Affine, np.ndarray], Work]


class DrillJob:
    """plan: (design -> table mm, table place now) -> the work, once the board is found
    spindle_mm: (2,), bench, on the board's upper face; spindle_error_mm: one sigma of it
    record: called with events before anyone is shown them; may raise StorageError
    measure: what a drilled hole is measured by; with look_again
    listen: called with each new JobView
    ledger: the work of an earlier job with what is done of it; then plan is not used

    view: the newest JobView; outcome: None until the job has ended
    """

    def __init__(
        self,
        machine: Machine,
        eye: Eye,
        plan: Plan,
        spindle_mm,
        settings: j.JobSettings | None = None,
        *,
        spindle_error_mm: float = 0.0,
        matrix_sigma: float | None = None,
        record: Callable[..., None] | None = None,
        measure: Measure | None = None,
        listen: Callable[[j.JobView], None] | None = None,
        ledger: Ledger | None = None,
    ) -> None:
        self.machine, self.eye = machine, eye
        self.settings = settings or j.JobSettings()
        self._plan = plan
        self._aimer = Aimer(machine.setup, matrix_sigma)
        self._watch = Watch(machine, eye, self._aimer, spindle_mm, spindle_error_mm)
        self._record, self._listen = record, listen
        again = self.settings.look_again and measure is not None
        self._afterwards = Afterwards(measure, spindle_mm) if again else None
        self.ledger = ledger
        self.outcome: j.Outcome | None = None
        self._paused = self._confirmed = self._answered = self._skip = False
        self._events: list[ev.Event] = []
        self._tallied: tuple = (None, None)
        self.view = j.JobView(j.CAUTIONS, "", self.eye.clock())
        self._steps = self._run()

    # --- from outside -------------------------------------------------------------

    def step(self) -> j.JobView:
        """Goes on a little. After the end: the last view again."""
        if self.outcome is None:
            try:
                next(self._steps)
            except StopIteration:
                self._end("finished", None)
            except DrillaidError as error:
                self._end(type(error).__name__, error)
            except BaseException:
                self._make_safe_at_all_costs()
                raise
        return self._publish()

    def act(self, action) -> j.JobView:
        """Confirm, Pause, Resume, Skip or Stop; `refusal` says why it did not count."""
        refusal = None
        if self.outcome is not None:
            refusal = "the job has ended."
        elif isinstance(action, j.Stop):
            self._end("stopped", None)
        elif isinstance(action, ev.Confirm):
            self._confirmed = self.view.state in j.ASKS
            refusal = None if self._confirmed else "nothing was asked."
        elif isinstance(action, ev.Pause | ev.Resume):
            self._paused = isinstance(action, ev.Pause)
        elif isinstance(action, ev.Skip):
            may = self.view.state in (j.MOVING, j.LOOKING, j.PAUSED, j.LEVER) and self.view.hole
            self._skip = bool(may)
            refusal = None if may else "there is no hole to skip now."
        else:
            raise TypeError(f"{action!r} is no action of a drilling job")
        return replace(self._publish(), refusal=refusal)

    def close(self) -> None:
        """Ends the job, if it has not ended, and leaves the machine safe. May be called twice."""
        if self.outcome is None:
            self._end("stopped", None)

    def __enter__(self) -> DrillJob:
        return self

    def __exit__(self, *exc_info) -> None:
        self.close()

    # --- the day ------------------------------------------------------------------

    def _run(self):
        yield from self._ask(j.CAUTIONS, "Read the cautions and confirm before anything moves.",
                             cautions=j.table_cautions())  # fmt: skip
        if self.machine.hands_near:
            self.machine.hands_off()
        self._show(j.CONNECTING, "Connecting with the table.")
        if self.machine.state is State.OFFLINE:
            yield from self.machine.connect()
        self._show(j.HOMING, "The table finds its home: keep clear.")
        yield from self.machine.home()
        self._aimer.restart()
        yield from self._find_board()
        to_table = self._watch.to_table()
        if self.ledger is None:
            self.ledger = Ledger(self._plan(to_table, self.machine.xy_mm))
        self._check_reach(to_table)
        yield from self._ask_about_lands()
        while self.ledger.progress.target is not None:
            yield from self._stop(self._target())
        yield from self.machine.spin(False)
        yield from self._measure_the_last()
        self._note("finished")
        tally = self.ledger.progress.tally()
        done = (
            f"{tally.done} of {tally.holes} holes {'checked' if self.settings.dry_run else 'done'}"
        )
        self._show(j.FINISHED, f"{done}, {tally.skipped} skipped.")

    def _ask_about_lands(self):
        """The files may be of another version of the board."""
        progress = self.ledger.progress
        bare = self._watch.without_land(progress.work.stops[row] for row in progress.left)
        if bare:
            self._note("land_missing", holes=bare)
            yield from self._ask(j.CAUTIONS, j.ask_about_lands(bare))

    def _find_board(self):
        self._show(j.FINDING, "Looking for the board.")
        yield from self._watch.see(self.machine.moved_s)
        self.machine.board_registered()
        self._note("registered")

    def _target(self) -> Place:
        return self.ledger.progress.work.stops[self.ledger.progress.target]

    def _stop(self, place: Place):
        """One place to drill, to its end or skipped."""
        self._skip = False
        try:
            yield from self._between()
            if place.bit_mm != self.ledger.fitted_mm and not self.settings.dry_run:
                yield from self._change_bit(place)
                return  # the bit may bring another target
            yield from self._aim(place)
            yield from self._drill(place)
        except _Skipped:
            self._fact("skipped", place.hole)

    def _between(self):
        """Where a pause takes effect: Z up, nothing outstanding."""
        if self._paused:
            yield from self.machine.spin(False)
            self._note("paused")
            off = "the spindle is off" if self.machine.setup.switched else "switch the spindle off"
            self._show(j.PAUSED, f"Paused; {off}.", hole=self._target().hole)
            while self._paused:
                yield from self._listen_a_little()
            self._note("resumed")
            yield from self._see_after_hands()
        if self._skip:
            raise _Skipped

    def _change_bit(self, place: Place):
        yield from self.machine.hands()
        tally = self.ledger.progress.tally(place.bit_mm)
        self._note("bit_change", bit_mm=place.bit_mm)
        text = (
            f"Fit the {place.bit_mm:g} mm bit ({tally.left} holes), as deep in the chuck as the "
            "last one; then hands off, and confirm."
        )
        if not self.machine.setup.switched:
            text = "Switch the spindle off and wait until it stands. " + text
        yield from self._ask(
            j.CHANGE_BIT, text, cautions=j.bit_cautions(place.bit_mm), bit_mm=place.bit_mm
        )
        self.machine.hands_off()
        self._fact("bit_fitted", None, bit_mm=place.bit_mm)
        if not self.machine.setup.switched:
            yield from self._ask(j.CAUTIONS, "Switch the spindle on at its switch, then confirm.")
        yield from self._see_after_hands()

    def _see_after_hands(self):
        """Whoever touches board or bit may have moved the board."""
        self._watch.disturbed = True
        yield from self._watch.see(self.eye.clock())

    # --- one place ----------------------------------------------------------------

    def _aim(self, place: Place):
        """Until the place is seen within tolerance; CannotPlace with the reason, if not."""
        most = self.settings.corrections
        for corrections in range(most + 1):
            if corrections == 0:
                self._show(j.MOVING, f"Moving to hole {place.hole}.", hole=place.hole,
                           bit_mm=place.bit_mm)  # fmt: skip
            target = self._watch.target_mm(place.xy_mm)
            if not self._aimer.reaches(target):
                raise CannotPlace(
                    f"Hole {place.hole} lies beyond the table's soft limits; clamp the board "
                    "elsewhere."
                )
            way = float(np.hypot(*(target - self.machine.xy_mm)))
            yield from self._aimer.go(self.machine, target)
            if self._skip:
                raise _Skipped
            yield from self._watch.see(
                self.machine.moved_s + self.machine.setup.settle_s, point=place.xy_mm, way_mm=way
            )
            self._measure_aside()
            off, distance, error = self._judge(place)
            self._show(j.LOOKING, f"Hole {place.hole} is {distance:.3f} mm off.", hole=place.hole,
                       bit_mm=place.bit_mm, off_mm=tuple(off.tolist()), distance_mm=distance,
                       expected_error_mm=error, corrections=corrections)  # fmt: skip
            self._note("look", seen=True, corrections=corrections)
            yield  # shown, and a last chance to say no
            if self._skip:
                raise _Skipped
            if distance <= self.settings.tolerance_mm:
                return
        raise CannotPlace(
            f"Hole {place.hole} is still {distance:.3f} mm off after {most} corrections; look "
            "for backlash, lost steps or a loose clamp."
        )

    def _judge(self, place: Place) -> tuple[np.ndarray, float, float]:
        """(off, distance, expected error) of the place in the last picture."""
        off = self._watch.off_mm(place.xy_mm)
        distance = float(np.hypot(*off))
        error = self._watch.expected_error_mm(place.hole)
        if not 2 * error <= self.settings.vouch_mm:
            raise CannotPlace(
                f"The place of hole {place.hole} is known to {error:.2f} mm only; nobody can "
                "vouch for it."
            )
        return off, distance, error

    def _drill(self, place: Place):
        if self.settings.dry_run:
            self._done(place, "checked")
            return
        if self.machine.setup.switched and self.machine.controller.spinning is not True:
            yield from self.machine.spin(True)
            yield from self._watch.see(
                self._watch.look.time_s
            )  # it took its time to come up to speed
            if self._judge(place)[1] > self.settings.tolerance_mm:
                return  # the start of the spindle has moved the board: aim again
        self.machine.seen(
            Sighting(place.hole, self._watch.look.time_s, self._judge(place)[1],
                     self.settings.tolerance_mm)
        )  # fmt: skip
        if self.machine.setup.lever:
            yield from self._lever(place)
        else:
            self._show(j.DRILLING, f"Drilling hole {place.hole}.", hole=place.hole,
                       bit_mm=place.bit_mm)  # fmt: skip
            yield from self.machine.plunge(
                place.hole,
                strokes(self.machine.setup, place.bit_mm, self.settings.thickness_mm),
            )
        self._done(place, "drilled")
        if self._afterwards is not None:
            self._afterwards.drilled(place)
        off = yield from self._watch.stayed(self.machine.clear_s, place.xy_mm, place.hole)
        self._note("stayed", hole=place.hole, off_mm=off.tolist())

    def _lever(self, place: Place):
        self.machine.lever(place.hole)
        try:
            yield from self._ask(
                j.LEVER, f"Pull the lever for hole {place.hole}; confirm when it is up again.",
                hole=place.hole, bit_mm=place.bit_mm,
            )  # fmt: skip
        finally:
            if self._answered:
                self.machine.lever_up()

    def _measure_aside(self, *, last: bool = False) -> None:
        """What has come out from under the spindle since it was drilled."""
        if self._afterwards is not None:
            for hole, detail in self._afterwards.seen(self._watch.look, last=last):
                self._note("measured", hole=hole, **detail)

    def _measure_the_last(self):
        """The last holes are still under the spindle: back to where the board is looked for."""
        if self._afterwards is not None and self._afterwards.waiting:
            yield from self._aimer.go(self.machine, self.machine.setup.view_mm)
            yield from self._watch.see(self.machine.moved_s + self.machine.setup.settle_s,
                                       way_mm=np.inf)  # fmt: skip
            self._measure_aside(last=True)

    def _done(self, place: Place, how: str) -> None:
        rest = self.ledger.progress.left.intersection(self.ledger.progress.rows_of_target())
        name = "hole_done" if len(rest) == 1 else "stop_done"
        detail = {"part": place.part, "parts": place.parts, "bit_mm": place.bit_mm}
        if how == "checked":
            detail["dry_run"] = True
        self._fact(name, place.hole, seen=True, **detail, by="table")

    def _check_reach(self, to_table: Affine) -> None:
        work = self.ledger.progress.work
        out = [
            stop.hole
            for stop, xy in zip(work.stops, to_table(work.xy_mm), strict=True)
            if not self._aimer.reaches(xy)
        ]
        if out:
            some = ", ".join(map(str, dict.fromkeys(out[:6])))
            raise CannotPlace(
                f"{len(set(out))} holes lie beyond the table's soft limits (hole {some}"
                f"{' …' if len(out) > 6 else ''}); clamp the board elsewhere or turned."
            )

    # --- asking and telling -------------------------------------------------------

    def _ask(self, state: str, text: str, **shown):
        self._confirmed = self._answered = False
        self._show(state, text, **shown)
        while not self._confirmed:
            if self._skip and state == j.LEVER:
                self._answered = True  # who skips says that the lever is up
                raise _Skipped
            yield from self._listen_a_little()
        self._confirmed, self._answered = False, True

    def _listen_a_little(self):
        if self.machine.state is State.OFFLINE:
            self.machine.controller.link.poll(POLL_S)  # not yet spoken with: nothing counts
            yield
            return
        yield from self.machine.controller.wait(POLL_S)

    def _fact(self, name: str, hole: int | None, *, seen: bool = False, **detail) -> None:
        """Every change of what is done: on the disk first, then in the ledger."""
        event = self._event(name, hole, seen, detail)
        if not self.settings.dry_run:
            self._keep(event)
        self.ledger.apply(name, hole, detail)
        self._events.append(event)

    def _note(self, name: str, *, hole: int | None = None, seen: bool = False, **detail) -> None:
        self._events.append(self._event(name, hole or self.view.hole, seen, detail))
        if name not in ("look", "registered", "stayed") and not self.settings.dry_run:
            self._keep(self._events[-1])

    def _keep(self, event: ev.Event) -> None:
        if self._record is None:
            return
        try:
            self._record(event)
        except StorageError as error:
            if event.event in ("hole_done", "stop_done"):
                raise StorageError(
                    f"Hole {event.hole} is drilled but could not be written down: {error}"
                ) from error
            raise

    def _event(self, name: str, hole: int | None, seen: bool, detail: dict) -> ev.Event:
        view, look = self.view, self._watch.look
        return ev.Event(
            t=self.eye.clock(),
            event=name,
            frame=None if look is None else look.frame.number,
            hole=hole,
            off_mm=view.off_mm if seen else None,
            distance_mm=view.distance_mm if seen else None,
            expected_error_mm=view.expected_error_mm if seen else None,
            matrix=None if look is None else look.registration.placement.matrix,
            detail=detail,
        )

    def _show(self, state: str, message: str, **shown) -> None:
        if state in (j.DRILLING, j.LEVER):  # what was seen of the hole stays
            v = self.view
            shown |= {"off_mm": v.off_mm, "distance_mm": v.distance_mm,
                      "expected_error_mm": v.expected_error_mm,
                      "corrections": v.corrections}  # fmt: skip
        self.view = j.JobView(state, message, self.eye.clock(), **shown)

    def _publish(self) -> j.JobView:
        if self.ledger is not None and self._tallied[0] is not self.ledger.progress:
            self._tallied = self.ledger.progress, self.ledger.progress.tally()
        tally = self._tallied[1]
        events, self._events = tuple(self._events), []
        self.view = replace(self.view, time_s=self.eye.clock(), progress=tally, events=events)
        if self._listen is not None:
            self._listen(self.view)
        return self.view

    # --- the end ------------------------------------------------------------------

    def _end(self, reason: str, error: DrillaidError | None) -> None:
        self._steps.close()
        safe = self.machine.make_safe()
        if error is not None:
            message = f"{error} {safe.message}"
        elif reason == "finished":
            message = f"{self.view.message} {safe.message}"
        else:
            message = f"Stopped. {safe.message}"
        state = j.FINISHED if reason == "finished" else j.STOPPED
        self.outcome = j.Outcome(reason, message, safe, error)
        self._show(state, message, hole=self.view.hole)

    def _make_safe_at_all_costs(self) -> None:
        safe = self.machine.make_safe()
        self.outcome = j.Outcome("failed", f"The program failed. {safe.message}", safe)


class _Skipped(Exception):
    """The person has put the present hole aside."""
