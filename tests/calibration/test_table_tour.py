"""The tour on the simulated table with an eye that knows the truth (and scatters)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.table_bench import QUICK, TableBench, broken_invariants, setup_for

from calibration.table_axes import Sent, fit_axes
from calibration.table_tour import Plan, Tour
from drillaid.errors import (
    AreaTooSmall,
    BoardLost,
    CameraLost,
    CameraTimeout,
    CannotPlace,
    DeviceError,
    NotFollowed,
    OutOfReach,
    StepsLost,
)
from drillaid.simulation.rigs import nominal_rig
from drillaid.table.controller import finish

HOME_MADE = replace(QUICK, backlash_mm=(0.15, 0.08), skew_deg=0.5, scale=(1.01, 0.99))
RIG = nominal_rig(1280, 720, 0.1)


def bench_with(mechanics=HOME_MADE, **kwargs) -> TableBench:
    setup = setup_for(mechanics, matrix=np.eye(2), backlash_mm=np.zeros(2))
    return TableBench(mechanics=mechanics, setup=setup, **kwargs)


def tour_of(bench: TableBench, plan: Plan | None = None, rig=RIG) -> Tour:
    finish(bench.machine.connect())
    return Tour(bench.machine, bench.eye, rig, bench.xy, plan)


def test_axes_of_a_home_made_table():
    """Drawn truth: 0.15 and 0.08 mm of backlash, 0.5 degrees of skew, 1 % of scale each way."""
    pulls = []
    for seed in range(4):
        mechanics = replace(HOME_MADE, turn_deg=[0, 90, 183, -7][seed])
        bench = bench_with(mechanics, seed=seed, noise_mm=0.006)
        done = finish(tour_of(bench).run())
        axes, truth = done.axes, mechanics.matrix
        assert np.abs(axes.matrix - truth).max() <= 0.001
        assert np.abs(axes.backlash_mm - mechanics.backlash_mm).max() <= 0.02
        assert axes.skew_deg == pytest.approx(0.5, abs=3 * axes.skew_sigma_deg)
        assert axes.scale == pytest.approx([1.01, 0.99], abs=0.001) and not axes.mirrored
        assert 0.003 < done.still_mm < 0.012 and done.lost_mm == ()
        assert np.hypot(*done.drift_mm) < 0.03
        pulls += ((axes.matrix - truth) / axes.matrix_sigma).ravel().tolist()
        pulls += ((axes.backlash_mm - mechanics.backlash_mm) / axes.backlash_sigma_mm).tolist()
        for a, lost in zip(axes.accuracy, mechanics.backlash_mm, strict=True):
            assert a.mean_reversal_mm == pytest.approx(-lost, abs=0.01)
            assert a.repeatability_mm == pytest.approx(lost + 0.024, abs=0.025)
        assert not broken_invariants(bench)
        assert bench.table.axes.z >= bench.setup.safe_z_mm - 0.01 and not bench.table.spinning
    print(f"largest pull {np.abs(pulls).max():.2f}, rms {np.sqrt(np.mean(np.square(pulls))):.2f}")
    assert np.abs(pulls).max() <= 2.5
    assert 0.25 < np.sqrt(np.mean(np.square(pulls))) < 1.3


def test_what_is_kept_of_it():
    bench = bench_with(seed=2)
    axes = finish(tour_of(bench, Plan(targets=3, runs=2)).run()).axes
    kept = axes.section(-1.0)
    assert np.array(kept["matrix"]) == pytest.approx(-axes.matrix, abs=1e-6)
    assert kept["matrix_sigma"] == pytest.approx(axes.matrix_sigma.max(), abs=1e-6)
    told = axes.to_json()
    assert told["axes"]["x"]["mean_reversal_mm"] == pytest.approx(-0.15, abs=0.02)
    assert told["stops"] == 2 * 2 * 2 * 3


def test_nothing_leaves_the_area_asked_for():
    bench = bench_with()
    area = (31.0, 22.0, 49.0, 37.0)
    bench.setup.view_mm[:] = (40.0, 30.0)
    tour = tour_of(bench, Plan(targets=3, runs=2, area_mm=area))
    done = finish(tour.run())
    assert done.area_mm == area
    ends = np.array([h.end[:2] for h in bench.table.log if h.what == "motion"][2:])
    assert (ends >= np.array(area[:2]) - 1e-6).all() and (ends <= np.array(area[2:]) + 1e-6).all()


def test_a_run_in_which_steps_were_lost_is_done_again():
    bench = bench_with(seed=1)
    steps = tour_of(bench, Plan(targets=3, runs=3)).run()
    lost = []

    def lose(line: str) -> None:
        if bench.machine.registered and len(bench.camera.times) > 25 and not lost:
            bench.table.axes.lost[0] += 0.3
            lost.append(line)

    bench.table.before_line = lose
    done = finish(steps)
    assert lost and len(done.lost_mm) == 1 and done.lost_mm[0] == pytest.approx(0.3, abs=0.05)
    assert np.abs(done.axes.matrix - HOME_MADE.matrix).max() <= 0.001
    assert np.abs(done.axes.backlash_mm - HOME_MADE.backlash_mm).max() <= 0.02


def test_a_table_that_keeps_losing_steps_is_refused():
    mechanics = replace(HOME_MADE, lost_chance=0.5, lost_mm=0.2)
    with pytest.raises(StepsLost, match="loses steps"):
        finish(tour_of(bench_with(mechanics)).run())


def test_an_axis_that_does_not_follow():
    bench = bench_with()
    bench.table.axes.stuck = {1}
    with pytest.raises(NotFollowed, match="Y was sent 2 mm"):
        finish(tour_of(bench).run())


@pytest.mark.parametrize("axis", [0, 1])
def test_an_axis_that_stops_following_on_the_way(axis):
    """It comes back to the same place each time, so that no lost step is seen."""
    bench = bench_with()
    tour = tour_of(bench, Plan(targets=3, runs=3))
    said = []

    def tell(text: str) -> None:
        said.append(text)
        if "run 2 of 3" in text and text.startswith("XY"[axis]):
            bench.table.axes.stuck.add(axis)

    tour.tell = tell
    with pytest.raises((NotFollowed, StepsLost), match="XY"[axis] + "| on " + "xy"[axis]):
        finish(tour.run())
    assert not any("run 3 of 3" in text and text.startswith("XY"[axis]) for text in said)


def test_backlash_beyond_what_can_be_shown():
    mechanics = replace(HOME_MADE, backlash_mm=(0.9, 0.1))
    with pytest.raises(CannotPlace, match="X loses 0.9"):
        finish(tour_of(bench_with(mechanics), Plan(3, 2, (45.0, 35.0, 56.0, 46.0))).run())


@pytest.mark.parametrize(
    ("area", "error", "told"),
    [
        ((45.0, 35.0, 54.0, 47.0), AreaTooSmall, "9 x 12 mm"),
        ((-5.0, 35.0, 54.0, 47.0), OutOfReach, "soft limits"),
        ((1.0, 1.0, 99.0, 79.0), CannotPlace, "leave the picture"),
    ],
)
def test_areas_that_are_refused_before_the_tour(area, error, told):
    bench = bench_with()
    with pytest.raises(error, match=told):
        finish(tour_of(bench, Plan(area_mm=area)).run())
    ends = np.array([h.end[:2] for h in bench.table.log if h.what == "motion"])
    assert len(ends) <= 6  # home, view and the small steps by which each axis is felt


def test_no_room_in_the_picture():
    with pytest.raises(AreaTooSmall, match="10 mm square"):
        finish(tour_of(bench_with(), rig=nominal_rig(1280, 720, 0.025)).run())


@pytest.mark.parametrize("what", ["lost", "stalled", "frozen", "board"])
def test_camera_and_board_lost_on_the_way(what):
    bench = bench_with()
    tour = tour_of(bench)
    with pytest.raises((CameraLost, CameraTimeout, BoardLost)) as failed:
        for k, _ in enumerate(tour.run()):
            assert k < 100_000
            if len(bench.camera.times) > 30:
                if what == "board":
                    bench.board_gone = True
                else:
                    setattr(bench.camera, what, True)
    if what == "board":
        assert "smaller --area" in str(failed.value)
    safe = bench.machine.make_safe()
    assert safe.held and safe.spindle_off and safe.z_up
    assert not broken_invariants(bench)


@pytest.mark.parametrize("fault", ["alarm", "gone", "silent", "restart", "garbled"])
@pytest.mark.parametrize("moment", [8, 40])
def test_faults_of_the_table_end_safely_with_their_own_error(fault, moment):
    bench = bench_with()
    happened = []

    def strike() -> None:
        happened.append(bench.clock.now())
        if fault == "alarm":
            bench.table.raise_alarm("limit switch")
        elif fault == "gone":
            bench.wire.gone = "unplugged"
        elif fault == "silent":
            bench.table.replies.silent = True
        elif fault == "restart":
            bench.table.restart()
        else:
            bench.table.replies.change = lambda text: b"\xff\x00?" + text.encode()[2:] + b"\n"

    with pytest.raises(DeviceError) as failed:
        for k, _ in enumerate(tour_of(bench).run()):
            assert k < 100_000
            if not happened and len(bench.camera.times) > moment:
                strike()
    assert happened and len(str(failed.value)) > 20
    moved = [h.time_s for h in bench.table.log if h.what == "motion" and h.time_s > happened[0]]
    assert len(moved) <= 1  # the one that may have been under way as it struck
    bench.machine.make_safe()
    assert not broken_invariants(bench)


def test_steps_lost_little_by_little_are_told():
    mechanics = replace(HOME_MADE, lost_chance=0.1, lost_mm=0.03, home_sigma_mm=0.0)
    bench = bench_with(mechanics, seed=3)
    done = finish(tour_of(bench).run())
    lost = bench.table.axes.lost[:2]
    assert np.hypot(*lost) > 0.06 and done.drift_mm == pytest.approx(-lost, abs=0.015)
    assert done.lost_mm_per_stop == pytest.approx(np.hypot(*done.drift_mm) / 10)  # of 100 stops
    assert np.abs(done.axes.matrix - mechanics.matrix).max() <= 0.001


def test_an_area_of_one_axis_only_leaves_something_open():
    stops = [
        Sent(run, 0, k, (sign, 1), (4.0 * k, 0.0), (4.04 * k, 0.0))
        for run in range(2) for sign in (1, -1) for k in range(3)
    ]  # fmt: skip
    with pytest.raises(ValueError, match="too few"):
        fit_axes(stops)


def test_plans_that_measure_nothing():
    with pytest.raises(ValueError, match="targets"):
        Plan(targets=2)
