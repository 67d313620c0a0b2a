from __future__ import annotations

import pytest

from calibration.rig_draft import read_draft
from calibration.spindle_offset import history, taken_back, with_offset
from drillaid.errors import RigError
from drillaid.inspection.learning import Offset
from drillaid.rig.file import save_rig
from drillaid.simulation.rigs import nominal_rig

RIG = nominal_rig(1280, 720, 0.09, tilt_rad=0.06, seed=5)
OFFSET = Offset((0.1, -0.2), 0.01, 0.05, 80.0, 1e-6, 60, 3, 1)


@pytest.fixture
def draft(tmp_path):
    save_rig(RIG, tmp_path / "rig.toml")
    found = read_draft(tmp_path / "rig.toml")
    covariance = [[1e-4, 0.0], [0.0, 1e-6]]
    return found.with_section("spindle", {"sigma_mm": 0.03, "covariance": covariance})


def test_two_corrections_and_both_taken_back(draft):
    twice = with_offset(with_offset(draft, OFFSET, now_s=0.0), OFFSET, now_s=60.0)
    twice.save()
    twice = read_draft(twice.path)
    axis = twice.section("spindle")["axis_mm"]
    assert axis == pytest.approx([RIG.axis_mm[0] + 0.2, RIG.axis_mm[1] - 0.4])
    assert [row["at"] for row in history(twice)] == ["1970-01-01T00:00:00Z", "1970-01-01T00:01:00Z"]
    assert "covariance" not in twice.section("spindle")
    once = taken_back(twice)
    none = taken_back(once)
    section = none.section("spindle")
    assert section["axis_mm"] == pytest.approx(RIG.axis_mm)
    assert section["sigma_mm"] == 0.03
    assert section["covariance"] == [[1e-4, 0.0], [0.0, 1e-6]]
    assert [row["taken_back"] for row in history(none)] == [True, True]
    with pytest.raises(RigError, match="no correction"):
        taken_back(none)


def test_without_a_spindle_there_is_nothing_to_correct(draft):
    with pytest.raises(RigError, match="calibrate spindle"):
        with_offset(draft.without("spindle"), OFFSET)


def test_somebody_elses_history_is_kept_and_left_alone(draft):
    theirs = ["new belt", {"at": "1999"}]
    own = draft.with_section("spindle", {"history": theirs})
    assert history(own) == []
    corrected = with_offset(own, OFFSET)
    corrected.save()
    corrected = read_draft(corrected.path)
    assert len(history(corrected)) == 1
    assert corrected.section("spindle")["history"][:2] == theirs
    assert taken_back(corrected).section("spindle")["history"][:2] == theirs
