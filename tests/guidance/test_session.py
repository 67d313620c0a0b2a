from __future__ import annotations

import dataclasses
import json
import math

import numpy as np
import pytest
from support.bench_job import SPINDLE, Job, work_of

from drillaid.geometry import Affine
from drillaid.guidance import guidance as g
from drillaid.guidance.aim import Settings, aim
from drillaid.guidance.events import (
    BitFitted,
    Confirm,
    Event,
    GoTo,
    Next,
    Pause,
    Pedal,
    RegistrationView,
    Resume,
    Revisit,
    Skip,
    Undo,
)
from drillaid.guidance.session import Session


@pytest.fixture
def job() -> Job:
    job = Job(work_of((0.8, 3), (1.0, 2)))
    job.fit(0.8)
    return job


def drill(job: Job):
    job.hold()
    return job.act(Confirm())


def test_off_is_how_far_the_hole_must_still_move(job):
    guidance = job.see(off=(1.5, -0.25))
    assert guidance.state == g.MOVE
    assert guidance.off_mm == pytest.approx((1.5, -0.25))
    assert guidance.distance_mm == pytest.approx(math.hypot(1.5, 0.25))
    hole_now = guidance.matrix(job.work.xy_mm[:1])[0]
    assert hole_now + guidance.off_mm == pytest.approx(SPINDLE)
    assert guidance.message == "To hole 1: move the board 1.5 mm right and 0.2 mm towards you."


def test_a_hole_without_a_land_is_told_where_it_is_aimed_at(job):
    bare = dataclasses.replace(job.view(off=(1.5, 0.0)), land_missing=frozenset({1}))
    job.t += 0.025
    assert job.session.step(bare).message.endswith("No land was seen here: look before you drill.")
    other = dataclasses.replace(job.view(off=(1.5, 0.0)), land_missing=frozenset({2}))
    job.t += 0.025
    assert "No land" not in job.session.step(dataclasses.replace(other, frame=5, time_s=job.t)).message


def test_on_target_only_after_being_steady(job):
    states = [job.see(off=(0.05, 0.0)).state for _ in range(14)]
    assert states[0] == g.HOLD and states[-1] == g.ON_TARGET
    # 0.25 s of pictures 25 ms apart: the eleventh is the first to close the interval.
    assert states.index(g.ON_TARGET) == 10
    assert job.names().count("on_target") == 1


def test_the_expected_error_counts_against_the_tolerance(job):
    assert job.hold(off=(0.1, 0.0), error_mm=0.03).state == g.ON_TARGET
    assert job.hold(off=(0.1, 0.0), error_mm=0.06).state == g.MOVE
    unsure = job.hold(off=(0.0, 0.0), error_mm=0.11)
    assert unsure.state == g.UNSURE
    assert unsure.message == "Cannot vouch for hole 1: it is known to 0.11 mm only."


def test_the_spindle_s_own_error_counts_too():
    job = Job(work_of((0.8, 2)))
    job.session = Session(job.work, SPINDLE, spindle_error_mm=0.1)
    job.fit(0.8)
    guidance = job.hold(error_mm=0.05)
    assert guidance.expected_error_mm == pytest.approx(math.hypot(0.1, 0.05))
    assert guidance.state == g.UNSURE


@pytest.mark.parametrize("errors", [None, np.full(5, np.nan), np.zeros(0), np.full(5, np.inf)])
def test_an_unknown_error_is_never_vouched_for(job, errors):
    for _ in range(20):
        job.t += 0.025
        view = dataclasses.replace(job.view(), time_s=job.t, expected_error_mm=errors)
        guidance = job.session.step(view)
    assert guidance.state == g.UNSURE
    assert job.act(Confirm()).refusal is not None


def test_no_flicker_at_the_edge(job):
    room = 0.2 - 2 * 0.03
    assert job.see(off=(0.9 * room, 0.0)).state == g.MOVE  # not near enough to enter
    assert job.hold(off=(0.7 * room, 0.0)).state == g.ON_TARGET
    assert job.see(off=(0.9 * room, 0.0)).state == g.ON_TARGET  # near enough to stay
    assert job.see(off=(1.01 * room, 0.0)).state == g.MOVE


def test_a_confirmation_counts_and_moves_on(job):
    guidance = drill(job)
    assert guidance.refusal is None
    assert (guidance.hole, guidance.progress.done, guidance.progress.left) == (2, 1, 4)
    (done,) = [e for e in job.events if e.event == "hole_done"]
    assert done.hole == 1 and done.distance_mm < 0.01 and done.detail["forced"] is False


@pytest.mark.parametrize(
    ("prepare", "reason"),
    [
        (lambda j: j.see(off=(0.4, 0.0)), "hole 1 not counted: it is 0.40 mm off."),
        (lambda j: j.see(row=1), "hole 1 not counted: hole 2 is under the spindle."),
        (lambda j: j.see(), "hole 1 not counted: it has not been held still yet."),
        (
            lambda j: j.see(error_mm=0.3),
            "hole 1 not counted: its place is known to 0.30 mm only.",
        ),
        (
            lambda j: j.see_nothing(),
            "hole 1 not counted: it was not on target before the board went out of sight.",
        ),
        (lambda j: j.act(Pause()), "the work is paused; resume first."),
        (lambda j: j.act(GoTo(4)), "hole 4 wants the 1 mm bit; fit it first."),
    ],
)
def test_a_confirmation_off_target_is_refused_with_the_reason(job, prepare, reason):
    prepare(job)
    guidance = job.act(Confirm(), wait_s=0.01)
    assert guidance.refusal == reason
    assert guidance.progress.done == 0
    assert job.names()[-1] == "refused"


def test_said_twice_of_one_hole_it_counts_once(job):
    """A key pressed twice while a slow computer still shows the first hole."""
    shown = job.see(off=(0.4, 0.0)).hole
    job.act(Confirm(forced=True, hole=shown))
    again = job.act(Confirm(forced=True, hole=shown))
    assert again.progress.done == 1 and again.hole != shown
    assert f"that was for hole {shown}" in again.refusal
    assert job.act(Confirm(forced=True, hole=again.hole)).progress.done == 2


def test_a_forced_confirmation_counts_and_says_so(job):
    job.see(off=(0.4, 0.0))
    guidance = job.act(Confirm(forced=True))
    assert guidance.progress.done == 1
    (done,) = [e for e in job.events if e.event == "hole_done"]
    assert done.detail["forced"] is True and done.distance_mm == pytest.approx(0.4)


def test_the_pedal_still_counts_while_bit_and_hand_hide_the_board(job):
    job.hold()
    lost = job.see_nothing(frames=200)
    assert lost.state == g.LOST and lost.can_confirm
    assert job.act(Confirm()).refusal is None


def test_but_not_for_ever(job):
    job.hold()
    job.see_nothing()
    assert job.act(Confirm(), wait_s=30.0).refusal is not None


def test_the_pedal_just_after_the_board_has_left(job):
    job.hold()
    assert job.see(off=(3.0, 0.0), frames=20).can_confirm
    assert job.act(Confirm()).refusal is None
    job.hold()
    job.see(off=(3.0, 0.0), frames=100)
    assert job.act(Confirm()).refusal == "hole 2 not counted: it is 3.00 mm off."


def test_a_second_press_does_not_count_the_next_hole(job):
    drill(job)
    job.see(off=(0.0, 0.0))
    assert job.act(Pedal(), wait_s=0.01).refusal is not None
    assert job.session.progress.tally().done == 1


def test_old_pictures_say_nothing(job):
    job.hold()
    assert job.keep(job.session.look(job.t + 0.6)).state == g.LOST
    assert job.names()[-1] == "lost"
    late = job.view()
    job.t += 2.0
    guidance = job.session.step(dataclasses.replace(late, time_s=job.t - 1.0), now_s=job.t)
    assert guidance.state == g.LOST
    assert guidance.message == "The board is not seen (the picture is 1.0 s old)."


def test_pictures_out_of_order_are_passed_over(job):
    job.hold(off=(2.0, 0.0))
    old = dataclasses.replace(job.view(), time_s=job.t - 0.01)
    guidance = job.session.step(old)
    assert guidance.state == g.MOVE and guidance.events == ()
    assert guidance.off_mm == pytest.approx((2.0, 0.0))


def test_a_gap_between_pictures_breaks_the_hold(job):
    job.see(frames=9)
    job.t += 0.6
    assert job.see(frames=5).state == g.HOLD


def test_after_the_camera_restarts_its_clock_may_begin_again(job):
    job.hold()
    job.session.camera_restarted()
    job.t = 1.0
    assert job.see().state == g.HOLD
    assert job.hold().state == g.ON_TARGET


def test_a_transform_that_is_no_number_is_no_registration(job):
    job.t += 0.025
    view = RegistrationView(9, job.t, Affine(np.full((2, 3), np.nan)), np.zeros(5))
    guidance = job.session.step(view)
    assert guidance.state == g.LOST and guidance.matrix is None


def test_bits_in_turn_with_their_cautions():
    job = Job(work_of((0.8, 2), (1.0, 1)))
    first = job.see()
    assert first.state == g.CHANGE_BIT
    assert first.message == "Fit the 0.8 mm bit: 2 holes to drill with it."
    assert "eye protection" in " ".join(map(str, first.bit_change.cautions))
    job.act(Pedal())
    drill(job)
    change = drill(job)
    assert (change.state, change.bit_change.bit_mm, change.bit_change.from_mm) == (
        g.CHANGE_BIT,
        1.0,
        0.8,
    )
    assert job.hold().state == g.CHANGE_BIT
    assert job.act(BitFitted(1.2)).refusal == "no hole wants a 1.2 mm bit."
    job.fit(1.0)
    assert drill(job).state == g.FINISHED
    assert job.names() == [
        *("registered", "bit_change", "bit_fitted", "on_target", "hole_done"),
        *("on_target", "hole_done", "bit_change", "refused", "bit_fitted"),
        *("on_target", "hole_done", "finished"),
    ]


def test_another_bit_in_the_chuck_brings_its_holes_first(job):
    job.fit(1.0)
    assert job.see().hole == 4


def test_skip_and_come_back(job):
    assert job.act(Skip()).hole == 2
    drill(job)
    change = drill(job)
    assert change.bit_change.skipped_before == 1
    job.fit(1.0)
    drill(job)
    end = drill(job)
    assert (end.state, end.skipped) == (g.FINISHED, (1,))
    assert end.message == "Nothing left to drill; 1 skipped, which can be taken back."
    back = job.act(Revisit())
    assert (back.hole, back.state, back.skipped) == (1, g.CHANGE_BIT, ())
    job.fit(0.8)
    assert drill(job).progress.done == 5


def test_one_out_of_order_then_on_from_there(job):
    assert job.act(GoTo(3)).hole == 3
    assert drill(job).hole == 1
    assert job.act(GoTo(3)).refusal == "hole 3 is drilled already; undo it first if it is not."
    assert job.act(GoTo(99)).refusal == "there is no hole 99."


def test_next_leaves_the_hole_on_the_list(job):
    assert job.act(Next()).hole == 2
    assert job.session.progress.tally().left == 5


def test_undo_gives_back_exactly_what_was(job):
    drill(job)
    before = job.session.progress
    drill(job)
    assert job.act(Undo()).hole == 2
    assert job.session.progress == before
    job.act(Undo())
    assert job.session.progress.done == frozenset()
    assert job.act(Undo()).refusal == "there is nothing to undo."


def test_paused_nothing_is_on_target(job):
    job.hold()
    assert job.act(Pause()).state == g.PAUSED
    assert job.hold().state == g.PAUSED
    assert job.act(Resume()).state != g.ON_TARGET
    assert job.hold().state == g.ON_TARGET


def test_a_slot_is_drilled_from_its_ends():
    work = work_of((0.8, 2), slot_in_last=True)
    assert [(s.hole, s.part, s.xy_mm[0]) for s in work.stops[:3]] == [
        (1, 1, 0.0),
        (1, 2, 1.7),
        (1, 3, pytest.approx(0.85)),
    ]
    job = Job(work)
    job.fit(0.8)
    for _ in range(3):
        guidance = drill(job)
    assert [n for n in job.names() if n.endswith("_done")] == [
        "stop_done",
        "stop_done",
        "hole_done",
    ]
    assert (guidance.hole, guidance.progress.done) == (2, 1)


def test_time_left_is_not_moved_by_one_long_hole():
    job = Job(work_of((0.8, 12)))
    job.fit(0.8)
    assert drill(job).time_left_s is None
    for wait in (10.0, 10.0, 300.0, 10.0, 10.0):
        job.t += wait - 0.1 - 14 * 0.025
        guidance = drill(job)
    assert guidance.time_left_s == pytest.approx(6 * 10.0)


def test_bit_changes_are_part_of_the_time_left():
    job = Job(work_of((0.8, 4), (1.0, 4)))
    job.fit(0.8)
    for _ in range(4):
        job.t += 9.55
        guidance = drill(job)
    assert guidance.time_left_s == pytest.approx(4 * 10.0 + 60.0)


def test_nothing_to_do_is_finished():
    guidance = Session(work_of(), SPINDLE).look(0.0)
    assert guidance.state == g.FINISHED and guidance.time_left_s == 0.0


def test_every_line_of_events_has_the_keys_of_the_contract(job):
    drill(job)
    job.see_nothing(frames=30)
    keys = {"t", "frame", "event", "hole", "off_mm", "distance_mm", "expected_error_mm"}
    for event in job.events:
        line = json.loads(json.dumps(event.to_json(), allow_nan=False))
        assert keys | {"matrix", "latency_ms"} <= set(line)
    frames = [e.to_json() for e in job.events if e.event == "frame"]
    assert np.shape(frames[0]["matrix"]) == (2, 3) and frames[0]["latency_ms"] == 0.0
    assert frames[-1]["matrix"] is None and frames[-1]["off_mm"] is None


def test_an_infinite_error_is_null_in_the_event():
    assert Event(0.0, "frame", expected_error_mm=math.inf).to_json()["expected_error_mm"] is None


# exp(-sigmas^2): the tail of a Rayleigh distribution whose mean square is the
# expected error squared (own derivation, standard); here against drawn errors.
@pytest.mark.parametrize("stated_off", [0.0, 0.1, 0.139])
def test_vouched_places_are_outside_tolerance_as_seldom_as_promised(stated_off):
    rng = np.random.default_rng(7)
    work, settings, error = work_of((0.8, 1)), Settings(), 0.03
    stated = aim(work, 0, Affine.identity(), np.array([stated_off, 0.0]), error, settings)
    assert stated.verdict() == "on"
    true = np.array(stated.off_mm) + rng.normal(0, error / math.sqrt(2), (100_000, 2))
    outside = np.mean(np.hypot(*true.T) > settings.tolerance_mm)
    assert outside <= math.exp(-(settings.sigmas**2))


def test_settings_out_of_range_are_refused():
    with pytest.raises(ValueError, match="tolerance_mm"):
        Settings(tolerance_mm=0.0)
