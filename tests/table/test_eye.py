"""Looking: only pictures newer than the motion count, and every wait has an end."""

from __future__ import annotations

import numpy as np
import pytest
from support.table_bench import TableBench

from drillaid.errors import BoardLost, CameraLost, CameraTimeout, InputError
from drillaid.table.controller import finish
from drillaid.table.eye import FIND_S, LATE_S, PICTURE_S, Eye


def test_an_older_picture_does_not_count():
    bench = TableBench()
    look = finish(bench.eye.look(0.5))
    assert look.time_s > 0.5
    assert len([t for t in bench.camera.times if t <= 0.5]) >= 10


def test_a_live_camera_may_be_late():
    bench = TableBench()
    bench.camera.live = True
    look = finish(Eye(bench.camera, bench.finder, bench.clock.now).look(0.5))
    assert look.time_s > 0.5 + LATE_S


@pytest.mark.parametrize(
    ("fault", "error", "told"),
    [
        ("stalled", CameraTimeout, "no new picture"),
        ("frozen", CameraTimeout, "only the same picture"),
        ("lost", CameraLost, "plug it in"),
    ],
)
def test_failures_of_the_camera(fault, error, told):
    bench = TableBench()
    finish(bench.eye.look(0.0))
    setattr(bench.camera, fault, True)
    begun = bench.clock.now()
    with pytest.raises(error, match=told):
        finish(bench.eye.look(begun))
    assert bench.clock.now() - begun <= PICTURE_S + 0.2


def test_a_recording_that_ends():
    bench = TableBench()
    bench.camera.read = lambda timeout_s: None
    with pytest.raises(CameraLost, match="come to an end"):
        finish(bench.eye.look(0.0))


def test_a_board_out_of_sight_for_a_moment_is_waited_for():
    bench = TableBench()
    bench.board_gone = True
    looking = bench.eye.look(0.0)
    for _ in range(10):
        next(looking)
    bench.board_gone = False
    assert finish(looking).registration.ok


def test_a_board_that_stays_away_is_lost_with_the_reason():
    bench = TableBench()
    bench.board_gone = True
    with pytest.raises(BoardLost, match="too little of it is in view"):
        finish(bench.eye.look(0.0))
    assert FIND_S <= bench.clock.now() <= FIND_S + 1


def test_a_picture_that_does_not_suit_the_rig():
    bench = TableBench()

    def check(frame):
        raise InputError("another size")

    with pytest.raises(InputError):
        finish(Eye(bench.camera, bench.finder, bench.clock.now, check=check).look(0.0))


def test_what_a_look_says():
    bench = TableBench(noise_mm=0.0)
    look = finish(bench.eye.look(0.0))
    assert look.bench_mm((1.0, 2.0)) == pytest.approx(bench.pose((1.0, 2.0))[0])
    assert look.expected_error_mm(1) == 0.02
    assert look.expected_error_mm(99) == np.inf
