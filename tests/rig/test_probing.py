from __future__ import annotations

import threading

import numpy as np
import pytest

from drillaid.errors import CameraError, CameraTimeout
from drillaid.rig.frame import Frame
from drillaid.rig.probing import FoundCamera, find_cameras


class Plugged:
    """Opens for the numbers in `there`; a picture of that size, or none."""

    def __init__(self, there: dict):
        self.there, self.tried, self.open = there, [], 0

    def __call__(self, number, **options):
        assert options["open_timeout_s"] < 10 and options["hold"] is False
        self.tried.append(number)
        if number not in self.there:
            raise CameraError(f"camera {number} cannot be opened.")
        self.size = self.there[number]
        return self

    def __enter__(self):
        self.open += 1
        return self

    def __exit__(self, *exc_info):
        self.open -= 1

    def read(self, timeout_s):
        if self.size is None:
            raise CameraTimeout("no picture")
        width, height = self.size
        return Frame(np.zeros((height, width, 3), np.uint8), 0, 0.0)


def test_only_what_delivers_pictures_is_a_camera():
    plugged = Plugged({"0": (64, 48), "1": None, "7": (32, 18)})
    found = find_cameras(["0", "1", "2", "7"], opener=plugged)
    assert found == (FoundCamera("0", (64, 48)), FoundCamera("7", (32, 18)))
    assert plugged.open == 0  # each was given back


def test_the_one_in_use_is_left_alone():
    plugged = Plugged({"0": (64, 48), "1": (64, 48)})
    find_cameras(["0", "1"], busy="0", opener=plugged)
    assert plugged.tried == ["1"]


def test_the_search_can_be_broken_off():
    stop = threading.Event()
    plugged = Plugged({"0": (64, 48), "1": (64, 48)})
    assert len(find_cameras(["0", "1"], stop=stop, found=lambda _: stop.set(), opener=plugged)) == 1
    assert plugged.tried == ["0"]


@pytest.mark.parametrize("there", [{}, {"0": (64, 48)}])
def test_where_nothing_is_listed_two_silent_numbers_end_it(monkeypatch, there):
    monkeypatch.setattr("sys.platform", "win32")
    plugged = Plugged(there)
    find_cameras(opener=plugged)
    assert len(plugged.tried) == 2 + len(there)
