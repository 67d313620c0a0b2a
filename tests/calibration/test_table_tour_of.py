"""The tour as command and window put it together: who is followed, at which height."""

from __future__ import annotations

import numpy as np
import pytest
from support.small_board import tiny_design

from calibration.pattern import Pattern
from calibration.table_sheet import SheetFinder, middle_of
from calibration.table_tour import Plan
from calibration.table_tour_of import follow_board, follow_sheet, tour_of
from drillaid.errors import InputError
from drillaid.guidance.finder import BoardFinder
from drillaid.rig.frame import Frame
from drillaid.simulation.rigs import nominal_rig

RIG = nominal_rig(640, 360, 0.1)


class Camera:
    """One picture size, whatever the rig wants."""

    name, live = "a camera", False

    def __init__(self, size: tuple[int, int]) -> None:
        self.size, self.number = size, 0

    def read(self, timeout_s: float = 2.0) -> Frame:
        self.number += 1
        image = np.full((self.size[1], self.size[0], 3), self.number, np.uint8)
        return Frame(image, self.number, float(self.number))


def test_a_board_or_the_test_board_is_followed_on_its_own_face():
    board = follow_board(tiny_design(), RIG, thickness_mm=0.8, live=False)
    assert isinstance(board.finder, BoardFinder) and board.height_mm == 0.8
    assert board.points_mm == pytest.approx(tiny_design().xy_mm)
    pattern = Pattern(10, 7, 8.0)
    sheet = follow_sheet(RIG, pattern, 2.5)
    assert isinstance(sheet.finder, SheetFinder) and sheet.height_mm == 2.5
    assert sheet.points_mm == pytest.approx(middle_of(pattern))


def test_pictures_of_another_size_than_the_rigs_are_refused():
    sheet = follow_sheet(RIG, Pattern(10, 7, 8.0), 0.0)
    camera = Camera((320, 180))
    tour = tour_of(None, camera, lambda: 0.0, RIG, sheet, Plan(), lambda text: None)
    with pytest.raises(InputError, match="640"):
        next(tour.eye.look(0.0))
