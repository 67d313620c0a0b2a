"""The machine's invariants: each refused, and held in random walks by the table's log."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from support.table_bench import QUICK, TableBench, broken_invariants, setup_for

from drillaid.errors import DeviceError, OutOfReach, UnsafeNow
from drillaid.table.controller import finish
from drillaid.table.machine import Machine, Sighting, State
from drillaid.table.strokes import strokes


def ready(**kwargs) -> tuple[TableBench, Machine]:
    bench = TableBench(**kwargs)
    machine = bench.machine
    finish(machine.connect())
    finish(machine.home())
    picture(bench)
    machine.board_registered()
    return bench, machine


def picture(bench: TableBench) -> float:
    bench.clock.advance(0.04)
    return bench.camera.read().time_s


def see(bench: TableBench, hole: int = 1, off: float = 0.01, *, time_s=None) -> None:
    when = picture(bench) if time_s is None else time_s
    bench.machine.seen(Sighting(hole, when, off, 0.03))


def plunge(bench: TableBench, hole: int = 1) -> None:
    finish(bench.machine.plunge(hole, strokes(bench.setup, 0.8, 1.6)))


def test_the_whole_way_of_one_hole():
    bench, machine = ready()
    finish(machine.travel(40.0, 30.0))
    finish(machine.spin(True))
    see(bench)
    plunge(bench)
    assert machine.state is State.UP
    assert len(bench.bores) == 1 and bench.bores[0][1]
    assert not broken_invariants(bench)


def test_no_plunge_unseen():
    bench, machine = ready()
    finish(machine.spin(True))
    with pytest.raises(UnsafeNow, match="not seen"):
        plunge(bench)


def test_no_plunge_where_it_was_seen_before_the_last_move():
    bench, machine = ready()
    finish(machine.spin(True))
    before = picture(bench)
    finish(machine.travel(41.0, 30.0))
    see(bench, time_s=before)
    with pytest.raises(UnsafeNow, match="not seen"):
        plunge(bench)
    see(bench)
    finish(machine.travel(41.0, 30.5))
    with pytest.raises(UnsafeNow, match="not seen"):
        plunge(bench)


def test_no_plunge_beside_another_hole_too_late_or_outside_tolerance():
    bench, machine = ready()
    finish(machine.spin(True))
    see(bench, 2)
    with pytest.raises(UnsafeNow, match="hole 1 was not seen"):
        plunge(bench)
    see(bench, 1, off=0.031)
    with pytest.raises(UnsafeNow):
        plunge(bench)
    see(bench, 1, off=float("nan"))
    with pytest.raises(UnsafeNow):
        plunge(bench)
    see(bench, 1)
    bench.clock.advance(10)
    with pytest.raises(UnsafeNow, match="too long ago"):
        plunge(bench)


def test_no_plunge_with_the_spindle_standing_or_the_board_lost():
    bench, machine = ready()
    see(bench)
    with pytest.raises(UnsafeNow, match="spindle"):
        plunge(bench)
    finish(machine.spin(True))
    see(bench)
    machine.board_lost()
    with pytest.raises(UnsafeNow):
        plunge(bench)
    assert bench.bores == []


def test_hands_mean_spindle_off_and_nothing_moves():
    bench, machine = ready()
    finish(machine.spin(True))
    finish(machine.hands())
    assert not bench.table.spinning
    for forbidden in (machine.travel(40, 30), machine.spin(True), machine.home()):
        with pytest.raises(UnsafeNow):
            finish(forbidden)
    machine.hands_off()
    finish(machine.travel(40, 30))


def test_nothing_moves_before_home_and_board():
    bench = TableBench()
    finish(bench.machine.connect())
    with pytest.raises(UnsafeNow):
        finish(bench.machine.travel(40, 30))
    finish(bench.machine.home())
    with pytest.raises(UnsafeNow, match="board"):
        finish(bench.machine.travel(40, 30))


def test_calibration_moves_without_a_board():
    bench = TableBench(needs_board=False)
    finish(bench.machine.connect())
    finish(bench.machine.home())
    finish(bench.machine.travel(40, 30))
    with pytest.raises(OutOfReach):
        finish(bench.machine.travel(400, 30))


def test_the_lever_is_a_persons_and_the_table_waits():
    bench, machine = ready(setup=setup_for(QUICK, lever=True))
    finish(machine.spin(True))
    with pytest.raises(UnsafeNow, match="lever"):
        machine.lever(1)
    see(bench)
    with pytest.raises(UnsafeNow, match="by a person"):
        plunge(bench)
    see(bench)
    machine.lever(1)
    with pytest.raises(UnsafeNow):
        finish(machine.travel(40, 30))
    machine.lever_up()
    finish(machine.travel(40, 30))


def test_made_safe_from_any_depth_and_home_again_is_asked_for():
    bench, machine = ready()
    finish(machine.spin(True))
    see(bench)
    down = machine.plunge(1, strokes(bench.setup, 0.8, 1.6))
    while bench.table.axes.z > -20.2:
        next(down)
    down.close()
    safe = machine.make_safe()
    assert safe.held and safe.spindle_off and safe.z_up
    assert bench.table.axes.z == pytest.approx(-12.0) and not bench.table.spinning
    with pytest.raises(UnsafeNow):
        finish(machine.travel(40, 30))
    finish(machine.home())
    with pytest.raises(UnsafeNow, match="board"):
        finish(machine.travel(40, 30))


def test_safe_before_anything_was_said_to_the_table():
    bench = TableBench()
    assert "not connected" in bench.machine.make_safe().message
    assert not [h for h in bench.table.log if h.what in ("line", "urgent")]


THEN = ("", "", "travel", "seen off", "spindle off", "lost")


class Walk(RuleBasedStateMachine):
    """Anything in any order, with faults in between; judged by the table's own log."""

    def __init__(self) -> None:
        super().__init__()
        self.bench = TableBench()
        self.machine = self.bench.machine
        self.running = None
        self.claims: list[tuple[float, float, Sighting]] = []

    def _try(self, steps) -> None:
        try:
            finish(steps)
        except DeviceError:
            pass

    def _call(self, function, *args) -> None:
        try:
            function(*args)
        except DeviceError:
            pass

    @rule()
    def connect(self):
        self._try(self.machine.connect())

    @rule()
    def home(self):
        self._try(self.machine.home())

    @rule()
    def register(self):
        picture(self.bench)
        self._call(self.machine.board_registered)

    @rule(x=st.floats(-10, 110), y=st.floats(-10, 90), steps=st.integers(1, 200))
    def travel(self, x, y, steps):
        """Sometimes left half way, as by a stop."""
        way = self.machine.travel(x, y)
        try:
            for _ in range(steps):
                next(way)
        except StopIteration:
            return
        except DeviceError:
            return
        way.close()
        self.machine.make_safe()

    @rule(on=st.booleans())
    def spin(self, on):
        self._try(self.machine.spin(on))

    @rule(off=st.sampled_from([0.0, 0.02, 0.05]), late=st.booleans(), hole=st.integers(1, 2))
    def see(self, off, late, hole):
        when = self.machine.moved_s - 0.001 if late else picture(self.bench)
        self._claim(Sighting(hole, when, off, 0.03))

    def _claim(self, sighting: Sighting) -> None:
        if self.machine.state is State.UP:
            self.claims.append((sighting.time_s, self.bench.clock.now(), sighting))
        self._call(self.machine.seen, sighting)

    @rule(steps=st.integers(1, 300))
    def plunge(self, steps):
        down = self.machine.plunge(1, strokes(self.bench.setup, 0.8, 1.6))
        try:
            for _ in range(steps):
                next(down)
        except StopIteration:
            return
        except DeviceError:
            self.machine.make_safe()
            return
        down.close()
        self.machine.make_safe()

    @rule()
    def hands(self):
        try:
            finish(self.machine.hands())
        except DeviceError:
            return
        self.bench.hands.append([self.bench.clock.now(), np.inf])

    @precondition(lambda self: self.machine.hands_near)
    @rule()
    def hands_off(self):
        self.bench.hands[-1][1] = self.bench.clock.now()
        self.machine.hands_off()

    @rule()
    def make_safe(self):
        self.machine.make_safe()

    @rule(x=st.floats(20, 60), then=st.sampled_from(THEN), down=st.booleans())
    def ready_to_plunge(self, x, then, down):
        """All that has to go before a plunge, and perhaps one thing that forbids it again."""
        m = self.machine
        self.bench.table.replies.silent = False  # somebody has put it right
        if m.hands_near:
            self.hands_off()
        for steps in (m.connect, m.home):
            if m.state in (State.OFFLINE, State.UNHOMED, State.STOPPED):
                self._try(steps())
        picture(self.bench)
        self._call(m.board_registered)
        self._try(m.travel(x, 30.0))
        self._try(m.spin(True))
        self._claim(Sighting(1, picture(self.bench), 0.0, 0.03))
        if then == "seen off":
            self._claim(Sighting(1, picture(self.bench), 0.05, 0.03))
        if then == "travel":
            self._try(m.travel(x + 1, 30.0))
        elif then == "spindle off":
            self._try(m.spin(False))
        elif then == "lost":
            m.board_lost()
        if down:
            self.plunge(300)

    @rule(what=st.sampled_from(["alarm", "restart", "noise", "silence", "slow", "split", "clean"]))
    def something_happens(self, what):
        table = self.bench.table
        if what == "alarm":
            table.raise_alarm("limit switch")
        elif what == "restart":
            table.restart()
        elif what == "noise":
            table.say("%&?")
        elif what == "silence":
            table.replies.silent = True
        elif what == "slow":
            table.replies.delay_s = 0.4
        elif what == "split":
            table.replies.split = True
        else:
            table.replies.silent = table.replies.split = False
            table.replies.delay_s = 0.002

    @invariant()
    def promises_hold(self):
        assert not broken_invariants(self.bench)

    @invariant()
    def every_plunge_was_claimed_to_be_in_place(self):
        """By the last thing said before it, of a picture newer than the last XY motion."""
        arrived = -np.inf
        surface = self.bench.setup.surface_z_mm
        for h in self.bench.table.log:
            if h.what == "arrived" and np.abs(np.subtract(h.end, h.start))[:2].max() > 1e-6:
                arrived = h.time_s
            if h.what == "motion" and h.end[2] < surface and h.end[2] < h.start[2]:
                taken, _, last = [c for c in self.claims if c[1] <= h.time_s][-1]
                assert taken > arrived and last.distance_mm <= 0.03 and last.hole == 1

    @invariant()
    def made_safe_is_safe(self):
        if self.machine.state is State.STOPPED and not self.bench.table.replies.silent:
            assert self.bench.table.axes.z > -30.0


Walk.TestCase.settings = settings(
    max_examples=60,
    stateful_step_count=25,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],  # shrinking takes minutes
)
TestRandomWalks = Walk.TestCase
