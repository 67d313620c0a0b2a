"""Random walks through a session against a model that knows only sets of holes.

The walk never asks the session what it should expect: it keeps its own record.
"""

from __future__ import annotations

import numpy as np
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule
from support.bench_job import SPINDLE, Job, work_of

from drillaid.guidance import guidance as g
from drillaid.guidance.events import (
    FACTS,
    BitFitted,
    Confirm,
    GoTo,
    Next,
    Pause,
    Pedal,
    Resume,
    Revisit,
    Skip,
    Undo,
)
from drillaid.guidance.session import Session

TOLERANCE_MM = 0.2


class Walk(RuleBasedStateMachine):
    @initialize(
        runs=st.lists(st.integers(1, 3), min_size=1, max_size=3),
        slot=st.booleans(),
        fitted=st.booleans(),
    )
    def begin(self, runs, slot, fitted):
        work = work_of(*[(0.8 + 0.2 * k, n) for k, n in enumerate(runs)], slot_in_last=slot)
        self.job = Job(work)
        self.done, self.skipped, self.history = set(), set(), []
        self.paused = False
        self.guidance = self.job.fit(0.8) if fitted else self.job.session.look(self.job.t)
        self.good_until = -1.0  # a picture that vouches for the target is younger than this

    def act(self, action, wait_s=0.05):
        self.progress_before = self.job.session.progress
        self.target_before = self.guidance.target
        self.guidance = self.job.act(action, wait_s)
        return self.guidance.refusal is None

    def row(self, stop):
        return self.job.work.stops.index(stop)

    def remember(self):
        self.history.append((self.progress_before, set(self.done), set(self.skipped)))

    @rule(
        off=st.sampled_from([0.0, 0.1, 0.15, 0.19, 0.5, 2.54]),
        error=st.sampled_from([0.01, 0.02, 0.04, 0.3, float("nan")]),
        frames=st.sampled_from([1, 2, 15]),
    )
    def see(self, off, error, frames):
        if self.guidance.target is not None:
            self.look_at(off, error, frames)

    def look_at(self, off, error, frames):
        self.guidance = self.job.see(off=(off, 0.0), error_mm=error, frames=frames)
        good = off + 2 * error <= TOLERANCE_MM
        self.good_until = self.job.t + 0.5 if good else -1.0

    @rule(off=st.sampled_from([0.15, 0.19, 0.3]), error=st.sampled_from([0.01, 0.02, 0.04]))
    def hold_and_drift(self, off, error):
        if self.guidance.target is not None:
            self.job.hold()
            self.look_at(off, error, 1)

    @rule(frames=st.integers(1, 5))
    def see_nothing(self, frames):
        self.guidance = self.job.see_nothing(frames)
        self.good_until = -1.0

    @rule(seconds=st.sampled_from([0.1, 0.45, 0.6, 5.0, 60.0]))
    def wait(self, seconds):
        self.job.t += seconds
        self.guidance = self.job.keep(self.job.session.look(self.job.t))

    @rule(forced=st.booleans())
    def confirm(self, forced):
        could = self.guidance.can_confirm
        state = self.guidance.state
        if self.act(Confirm(forced=forced), wait_s=0.0):
            assert could or forced
            assert state not in (g.FINISHED, g.PAUSED, g.CHANGE_BIT)
            self.drilled()

    @rule()
    def hold_and_confirm(self):
        if self.guidance.target is None:
            return
        self.guidance = self.job.hold()
        drillable = self.guidance.state == g.ON_TARGET
        assert drillable == (self.guidance.bit_change is None and not self.paused)
        assert self.act(Confirm(), wait_s=0.0) == drillable
        if drillable:
            self.drilled()

    @rule()
    def pedal(self):
        state, due = self.guidance.state, self.guidance.bit_change
        if self.act(Pedal(), wait_s=0.0):
            if state == g.CHANGE_BIT:
                assert self.guidance.bit_mm == due.bit_mm
            else:
                self.drilled()

    def drilled(self):
        row = self.row(self.target_before)
        assert row not in self.done and row not in self.skipped
        self.remember()
        self.done.add(row)
        self.good_until = -1.0

    @rule()
    def skip(self):
        if self.act(Skip()):
            rows = set(self.job.work.by_hole[self.target_before.hole])
            self.remember()
            self.skipped |= rows - self.done

    @rule()
    def revisit(self):
        assert self.act(Revisit()) == bool(self.skipped)
        if self.guidance.refusal is None:
            self.remember()
            self.skipped = set()

    @rule(hole=st.integers(0, 10))
    def go_to(self, hole):
        rows = set(self.job.work.by_hole.get(hole, ()))
        possible = bool(rows - self.done)
        assert self.act(GoTo(hole)) == possible
        if possible:
            assert self.guidance.hole == hole
            if rows & self.skipped:
                self.remember()
                self.skipped -= rows

    @rule()
    def next(self):
        before = self.guidance.hole
        if self.act(Next()):
            assert self.guidance.hole != before

    @rule()
    def undo(self):
        assert self.act(Undo()) == bool(self.history)
        if self.guidance.refusal is None:
            progress, self.done, self.skipped = self.history.pop()
            assert self.job.session.progress == progress

    @rule(pause=st.booleans())
    def pause(self, pause):
        assert self.act(Pause() if pause else Resume()) == (pause != self.paused)
        self.paused = pause

    @rule(bit=st.sampled_from([0.8, 1.0, 1.2, 3.0]))
    def fit(self, bit):
        known = any(abs(bit - b) < 1e-6 for b in self.job.work.bits_mm)
        assert self.act(BitFitted(bit)) == known

    @invariant()
    def the_sets_are_the_model_s(self):
        p = self.job.session.progress
        assert (p.done, p.skipped) == (self.done, self.skipped)
        assert p.done | p.skipped | p.left == set(range(len(self.job.work.stops)))
        assert not p.done & p.skipped
        assert (p.target in p.left) if p.left else (p.target is None)

    @invariant()
    def on_target_only_with_a_fresh_good_picture_and_the_right_bit(self):
        if self.guidance.state == g.ON_TARGET:
            assert self.job.t <= self.good_until
            assert self.guidance.bit_mm == self.guidance.target.bit_mm
            assert not self.paused

    @invariant()
    def the_counts_add_up(self):
        tallies = [self.guidance.progress, *self.guidance.by_bit]
        assert all(t.left >= 0 and t.done + t.skipped + t.left == t.holes for t in tallies)
        board, *bits = tallies
        assert sum(t.done for t in bits) == board.done
        assert sum(t.holes for t in bits) == board.holes

    @invariant()
    def the_facts_give_the_same_progress_again(self):
        facts = [(e.event, e.hole, e.detail) for e in self.job.events if e.event in FACTS]
        again = Session.resume(self.job.work, SPINDLE, facts)
        assert again.progress == self.job.session.progress
        assert again.look(self.job.t).bit_mm is None

    @invariant()
    def what_is_said_can_be_written(self):
        assert self.guidance.message.endswith(".")
        for event in self.guidance.events:
            line = event.to_json()
            assert line["distance_mm"] is None or np.isfinite(line["distance_mm"])


TestWalk = Walk.TestCase
TestWalk.settings = settings(
    max_examples=60,
    stateful_step_count=35,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
