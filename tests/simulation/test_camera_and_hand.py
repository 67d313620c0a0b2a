"""The simulated camera's clock and faults; the simulated hand's manners."""

import numpy as np
import pytest

from drillaid.errors import CameraLost, CameraTimeout
from drillaid.simulation.bench import SimulatedBench, nominal_rig
from drillaid.simulation.board import SimulatedBoard
from drillaid.simulation.camera import SimulatedCamera
from drillaid.simulation.designs import random_design
from drillaid.simulation.hand import Hand


@pytest.fixture
def bench():
    return SimulatedBench(None, nominal_rig(320, 180, 0.3), clutter=4, seed=1)


def test_virtual_time_counts_frames(bench):
    with SimulatedCamera(bench, fps=25) as camera:
        frames = [camera.read() for _ in range(4)]
    assert [f.number for f in frames] == [0, 1, 2, 3]
    assert [f.time_s for f in frames] == pytest.approx([0, 0.04, 0.08, 0.12])
    assert not np.array_equal(frames[0].image, frames[1].image)
    assert not frames[0].image.flags.writeable


def test_the_bench_may_move_before_each_frame(bench):
    times = []
    camera = SimulatedCamera(bench, fps=10, before_frame=times.append)
    camera.read(), camera.read()
    camera.close(), camera.close()
    assert times == pytest.approx([0, 0.1])
    with pytest.raises(CameraLost):
        camera.read()


def test_real_time_skips_what_a_late_reader_missed(bench, monkeypatch):
    clock = [100.0]
    monkeypatch.setattr("drillaid.simulation.camera.time.monotonic", lambda: clock[0])
    camera = SimulatedCamera(bench, fps=10, realtime=True)
    assert camera.read().number == 0
    clock[0] += 0.75
    late = camera.read()
    assert late.number == 7 and late.time_s == pytest.approx(0.75)


def test_unplugged_until_plugged_in_and_reopened(bench):
    camera = SimulatedCamera(bench)
    camera.read()
    camera.unplug()
    with pytest.raises(CameraLost, match="plug"):
        camera.read()
    with pytest.raises(CameraLost):
        camera.reopen()
    camera.plug_in()
    with pytest.raises(CameraLost):
        camera.read()
    camera.reopen()
    assert camera.read().number == 1


def test_stall_freeze_and_black(bench):
    camera = SimulatedCamera(bench)
    camera.stall()
    with pytest.raises(CameraTimeout):
        camera.read(timeout_s=0.5)
    assert camera.time_s == pytest.approx(0.5)
    camera.stall(False)
    camera.freeze()
    a, b = camera.read(), camera.read()
    assert np.array_equal(a.image, b.image) and b.number > a.number and b.time_s > a.time_s
    camera.freeze(False)
    camera.black()
    assert camera.read().image.max() == 0
    camera.black(False)
    assert camera.read().image.max() > 0


def follow(hand, start_mm, seconds, blind_after=None, dt_s=1 / 30):
    """Distances to the target while the hand is shown the offset; (frames,) mm."""
    off, distances = np.array(start_mm, float), []
    for i in range(int(seconds / dt_s)):
        shown = None if blind_after is not None and i * dt_s > blind_after else off
        dx, dy, _ = hand.step(shown, dt_s)
        off = off - [dx, dy]
        distances.append(float(np.hypot(*off)))
    return np.array(distances)


@pytest.mark.parametrize("seed", range(8))
def test_the_hand_comes_to_the_target_and_stays_near(seed):
    distances = follow(Hand(seed), (17.0, -9.0), 6)
    assert distances[-60:].mean() < 0.08
    assert distances[-60:].max() < 0.2
    assert distances[-60:].min() > 0, "no hand is perfect"


def test_the_hand_reacts_late_and_has_a_top_speed():
    distances = follow(Hand(1), (40.0, 0.0), 1)
    assert abs(distances[4] - 40) < 0.2, "moved before it could have seen anything"
    assert np.abs(np.diff(distances)).max() < 30.0 / 30 * 1.8


def test_shown_nothing_the_hand_goes_nowhere():
    distances = follow(Hand(2), (10.0, 0.0), 4, blind_after=-1)
    assert np.abs(distances - 10).max() < 0.6


def test_led_astray_the_hand_goes_astray():
    """It follows what it is told, not the truth."""
    hand, at = Hand(3), np.zeros(2)
    for _ in range(60):
        dx, dy, _ = hand.step((5.0, 0.0), 1 / 30)
        at += [dx, dy]
    assert at[0] > 10


def test_same_seed_same_hand():
    assert np.array_equal(follow(Hand(4), (3, 3), 2), follow(Hand(4), (3, 3), 2))
    assert not np.array_equal(follow(Hand(4), (3, 3), 2), follow(Hand(5), (3, 3), 2))


def test_a_hand_that_cannot_settle_is_refused():
    with pytest.raises(ValueError, match="swing"):
        Hand(1, reaction_s=0.5, gain_per_s=4)


def test_hand_and_bench_together_bring_a_hole_under_the_bit():
    """Offsets as guidance states them, in bench axes: a wrong sign or frame would run away."""
    board = SimulatedBoard(random_design(2, 25), seed=2, px_per_mm=5)
    bench = SimulatedBench(board, nominal_rig(320, 180, 0.3), wander_sigma_mm=0.0, seed=2)
    bench.place(6, -4, 2.2)
    hand, target = Hand(6), board.design.xy_mm[7]
    for _ in range(200):
        off = bench.spindle_mm - bench.truth(target)[0]
        bench.move(*hand.step(off, 1 / 30))
    at = bench.drill(0.8)
    assert np.hypot(*(at - target)) < 0.2
    assert bench.pose.rotation_rad != pytest.approx(2.2, abs=1e-6), "no hand pushes quite straight"
