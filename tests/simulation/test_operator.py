"""The simulated operator knows only what guidance shows."""

from __future__ import annotations

import numpy as np
from support.bench_job import Job, work_of

from drillaid.guidance.events import BitFitted, Confirm, Skip
from drillaid.simulation.hand import Hand
from drillaid.simulation.operator import PATIENCE, Operator, brisk_hand


class Bench:
    """Remembers what was done to it."""

    def __init__(self) -> None:
        self.moves, self.bits = [], []

    def move(self, dx, dy, dtheta=0.0) -> None:
        self.moves.append((dx, dy, dtheta))

    def drill(self, bit_mm) -> None:
        self.bits.append((bit_mm, tuple(np.sum(self.moves, axis=0)) if self.moves else (0, 0, 0)))


class Live:
    def __init__(self, job) -> None:
        self.job, self.actions = job, []

    def act(self, action):
        self.actions.append(action)
        return self.job.act(action)


def at_work(**more):
    job, bench = Job(work_of((0.8, 3))), Bench()
    return job, Live(job), bench, Operator(bench, brisk_hand(1, 4.0), **more)


def test_fits_the_bit_asked_for_and_drills_only_when_told():
    job, live, bench, operator = at_work()
    operator.follow(live, job.see())
    assert live.actions == [BitFitted(0.8)]
    operator.follow(live, job.see())
    assert not bench.bits
    operator.follow(live, job.hold())
    assert live.actions[1:] == [Confirm()] and operator.drilled == [1]
    assert bench.bits[0][0] == 0.8


def test_pushes_by_what_was_shown_and_rests_when_nothing_is():
    job, live, bench, operator = at_work()
    job.fit(0.8)
    operator.before_frame(0.0)
    operator.follow(live, job.see(off=(3.0, 0.0)))
    operator.before_frame(0.25)
    assert 1.5 < bench.moves[-1][0] < 4.5 and abs(bench.moves[-1][1]) < 0.3
    operator.follow(live, job.see_nothing(40))
    operator.before_frame(0.5)
    assert np.hypot(*bench.moves[-1][:2]) < 0.1  # tremor only


def test_a_board_pulled_aside_is_drilled_there_and_lies_where_it_did():
    job, live, bench, operator = at_work(slips={1: (0.5, -0.25)})
    job.fit(0.8)
    operator.follow(live, job.hold())
    assert bench.bits[0][1][:2] == (0.5, -0.25)
    assert np.allclose(np.sum(bench.moves, axis=0), 0)
    assert operator.felt == [1]


def test_a_hole_that_never_comes_is_skipped_and_a_lost_board_left():
    job, live, bench, operator = at_work()
    job.fit(0.8)
    for _ in range(PATIENCE + 1):
        operator.follow(live, job.see(off=(2.0, 0.0)))
    assert live.actions == [Skip()]
    for _ in range(PATIENCE + 1):
        operator.follow(live, job.see_nothing(40))
    assert "not seen" in operator.given_up
    assert not bench.bits


def test_the_practised_hand_comes_to_rest_within_a_few_looks():
    """Within 0.1 mm after at most eight looks, under five on average."""
    looks = []
    for seed in range(40):
        hand: Hand = brisk_hand(seed, 4.0)
        off, count = np.array([4.0, 2.0]), 0
        while np.hypot(*off) > 0.1:
            off -= hand.step(off, 0.25)[:2]
            count += 1
        looks.append(count)
    assert max(looks) <= 8 and np.mean(looks) < 5


