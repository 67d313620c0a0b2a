from __future__ import annotations

import pytest

from calibration.rig_draft import read_draft
from drillaid.errors import RigError
from drillaid.rig.still_true import REMEDY
from ui.calibrating.plain import plain

SAID = [
    f"The camera has moved by 1.20 mm against the table: do not drill; {REMEDY}.",
    "Uncover the marks, or give --new-frame and calibrate the spindle again afterwards.",
    "Measure the sheet's ruler bar and give --ruler-mm: the print's size is a guess.",
    "Nobody will notice when the arm is knocked: print them with drillaid calibrate target "
    "--marks.",
    "The frame is a new one: run drillaid calibrate spindle again.",
    "It was seen through it; run drillaid calibrate bench again, then drillaid calibrate spindle.",
    "[camera] is missing; make it with drillaid calibrate lens.",
    "There is no such file; give a rig file made by drillaid calibrate.",
    "3 round things may be the fresh hole: use plain scrap, or say which with --hole U,V.",
    "3 round things may be the fresh hole: use plain scrap, or say which with --spindle U,V.",
]


@pytest.mark.parametrize("message", SAID)
def test_nothing_is_left_that_only_a_terminal_understands(message):
    told = plain(message)
    assert "--" not in told and "drillaid calibrate" not in told
    assert told != message and told.endswith(".")
    assert "  " not in told and " ." not in told


def test_an_incomplete_rig_file_is_told_in_the_windows_words(tmp_path):
    with pytest.raises(RigError) as got:
        read_draft(tmp_path / "new.toml").rig()
    assert plain(str(got.value)).endswith("make the lens first.")


def test_other_words_stay():
    assert plain("The rig is as it was, within 0.02 mm.") == "The rig is as it was, within 0.02 mm."
