from __future__ import annotations

import numpy as np
import pytest

from drillaid.commands.guiding import eyes
from drillaid.errors import InputError, UsageError
from drillaid.guidance.spindle_mark import SpindleMark, pointed_at
from drillaid.rig.frame import Frame


def frame(width: int, height: int) -> Frame:
    return Frame(np.zeros((height, width, 3), np.uint8), 0, 0.0)


def test_a_pixel_that_a_person_gives_is_taken_as_it_is():
    mark = eyes.spindle_mark(None, "12.5,7")
    assert mark.px == pytest.approx([12.5, 7]) and mark.size_px is None


@pytest.mark.parametrize("text", ["12", "1,2,3", "nan,4", "a,b", ""])
def test_what_is_no_pixel_is_refused(text):
    with pytest.raises(UsageError, match="is no pixel"):
        eyes.spindle_mark(None, text)


def test_frames_must_be_of_the_scraps_size_and_show_the_spindle():
    mark = SpindleMark(np.array([300.0, 100.0]), np.eye(2), (640, 360))
    check = eyes.unrigged(None, mark, "bottom", 1.6).check
    check(frame(640, 360))
    with pytest.raises(InputError, match="320 x 180"):
        check(frame(320, 180))
    with pytest.raises(InputError, match="outside"):
        eyes.unrigged(None, pointed_at(300, 100), "bottom", 1.6).check(frame(200, 360))
