from __future__ import annotations

import numpy as np
import pytest

from calibration.rig_draft import read_draft
from calibration.rig_standing import DONE, MISSING, PARTS, STALE, standing_of
from drillaid.simulation.rigs import nominal_rig

RIG = nominal_rig(640, 360)
LENS = {"width": 640, "height": 360, "matrix": RIG.matrix, "distortion": RIG.distortion,
        "rms_px": 0.2, "views": 12}  # fmt: skip
PLANE = {"rotation_vector": RIG.rotation_vector, "translation_mm": RIG.translation_mm,
         "sigma_mm": 0.03}  # fmt: skip
AXIS = {"axis_mm": [0.0, 0.0], "sigma_mm": 0.02, "holes": [{"used": True}, {"used": False}]}
MARKS = {"height_mm": 0.1, "seen": [{"number": 1, "corners_mm": np.eye(4, 2)}]}


@pytest.fixture
def draft(tmp_path):
    return read_draft(tmp_path / "bench.toml")


def states(draft) -> list[str]:
    return [part.state for part in standing_of(draft)]


def whole(draft):
    for name, values in (("camera", LENS), ("bench", PLANE), ("spindle", AXIS), ("marks", MARKS)):
        draft = draft.with_section(name, values)
    return draft


def test_an_empty_file_lacks_everything(draft):
    assert states(draft) == [MISSING] * 4
    assert all(part.why for part in standing_of(draft))


def test_a_whole_file_says_its_figures(draft):
    parts = dict(zip(PARTS, standing_of(whole(draft)), strict=True))
    assert {part.state for part in parts.values()} == {DONE}
    assert parts["camera"].figures["rms_px"] == 0.2
    assert parts["bench"].figures == {"sigma_mm": 0.03}
    assert parts["spindle"].figures["holes"] == 1
    assert parts["marks"].figures["count"] == 1
    assert "3" in parts["marks"].why  # one mark shows a knock and repairs nothing


def test_another_lens_leaves_all_that_was_seen_through_it_behind(draft):
    later = whole(draft).with_section("camera", {"matrix": RIG.matrix * [[1.01], [1.0], [1.0]]})
    assert states(later) == [DONE, STALE, STALE, STALE]


def test_another_frame_leaves_spindle_and_marks_behind(draft):
    later = whole(draft).with_section("bench", PLANE)
    assert states(later) == [DONE, DONE, STALE, STALE]


def test_a_camera_that_refocuses_is_warned_of(draft):
    part = standing_of(draft.with_section("camera", LENS | {"focus_locked": False}))[0]
    assert part.state == DONE and "focus" in part.why
