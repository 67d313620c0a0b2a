from __future__ import annotations

import itertools
import math

import pytest
from support.bench_job import Job, work_of

from drillaid.guidance import beat
from drillaid.guidance import guidance as g
from drillaid.guidance.events import Confirm, Pause


@pytest.fixture
def job():
    made = Job(work_of((0.8, 3)))
    made.fit(0.8)
    return made


def test_nearer_is_quicker_and_higher(job):
    heard = [beat.beat_of(job.see(off=(d, 0.0))) for d in (60, 30, 10, 3, 1, 0.5, 0.3)]
    assert heard[0] == heard[1]
    for far, near in itertools.pairwise(heard[1:]):
        assert near.gap_s < far.gap_s and near.pitch_hz > far.pitch_hz
    # Each step is heard: a twentieth in pitch or more (common practice, no source).
    assert all(b.pitch_hz > 1.05 * a.pitch_hz for a, b in itertools.pairwise(heard[1:]))


@pytest.mark.parametrize("distance", [0.0, 1e-9, 1e9, math.inf])
def test_no_distance_is_beyond_the_scale(distance):
    assert 0.0 <= beat.nearness_of(distance) <= 1.0


def test_it_is_silent_where_nothing_is_to_be_pushed(job):
    assert beat.beat_of(job.see(off=(1.0, 0.0))) is not None
    assert beat.beat_of(job.hold()) is None  # on target
    assert beat.beat_of(job.see_nothing()) is None
    assert beat.beat_of(job.act(Pause())) is None
    assert beat.beat_of(Job(work_of((0.8, 1))).see(off=(1.0, 0.0))) is None  # no bit yet


def test_a_place_that_is_not_vouched_for_sounds_low(job):
    guidance = job.see(off=(0.05, 0.0), error_mm=0.5)
    assert guidance.state == g.UNSURE
    assert beat.beat_of(guidance).pitch_hz < beat.LOW_HZ


def test_each_event_has_its_sound(job):
    assert beat.cue_of([job.see(off=(1.0, 0.0))]) == beat.FOUND
    assert beat.cue_of([job.act(Confirm())]) == beat.REFUSED
    moments = [job.see() for _ in range(14)]
    assert beat.cue_of(moments) == beat.ON_TARGET
    assert beat.cue_of([job.act(Confirm())]) == beat.DRILLED
    assert beat.cue_of([job.see_nothing()]) == beat.LOST
    assert beat.cue_of([job.see_nothing()]) is None


def test_a_refusal_is_heard_over_all_else(job):
    done = [job.see(off=(1.0, 0.0)), job.act(Confirm())]
    assert beat.cue_of(done) == beat.REFUSED
