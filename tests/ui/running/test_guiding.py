from __future__ import annotations

import numpy as np
import pytest

from ui.running import practice
from ui.running.guiding import image_of


def test_a_picture_keeps_its_colours():
    picture = np.zeros((3, 5, 3), np.uint8)
    picture[1, 2] = (10, 20, 30)  # blue, green, red
    colour = image_of(picture).pixelColor(2, 1)
    assert (colour.red(), colour.green(), colour.blue()) == (30, 20, 10)


def test_the_practice_hand_moves_the_board_as_the_mouse_goes(small_job):
    bench = practice.practice_bench(small_job, 5)
    before = bench.pose.offset.copy()
    practice.drag(bench, 30.0, 15.0, px_per_mm=10.0)
    assert bench.pose.offset - before == pytest.approx([3.0, -1.5])
    spindle = bench.spindle_mm
    place = bench.truth.inverse(spindle)[0]
    practice.turn(bench, 50.0)
    assert bench.truth.inverse(spindle)[0] == pytest.approx(place)
    assert bench.pose.rotation_rad != 0
