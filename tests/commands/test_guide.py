"""A command line of `guide` that cannot work: told in a sentence, before a window opens."""

from __future__ import annotations

from pathlib import Path

import pytest
from support.guide_command import guide

from drillaid.cli import main


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--camera", "0"], "--scrap"),
        (["--camera", "0", "--spindle", "middle"], "is no pixel"),
        (["--camera", "0", "--scrap", "/nowhere/scrap.png"], "scrap.png"),
        (["--camera", "0", "--spindle", "3,4", "--rig", "r.toml"], "leave out --scrap"),
        (["--camera", "sim", "--tolerance", "0"], "--tolerance"),
        (["--camera", "sim", "--thickness", "99"], "--thickness"),
        (["--camera", "sim", "--bits", "one"], "list of bit sizes"),
        (["--camera", "sim", "--resume"], "no unfinished board"),
        (["--camera", "sim", "--knock", "-1"], "--knock"),
        (["--camera", "0", "--spindle", "3,4", "--knock", "2"], "--camera sim"),
        (["--camera", "sim", "--events", "/nowhere/e.jsonl"], "cannot be written"),
    ],
)
def test_what_cannot_work_is_told_in_a_sentence(job, capsys, words, said):
    status, data, told = guide(job, capsys, *words, rig=False)
    assert status in (2, 4) and data is None
    assert said in told and "Traceback" not in told


def test_where_qt_is_missing_the_way_through_the_terminal_is_told(job, capsys):
    assert main(["guide", *job[0], "--camera", "sim"]) == 2
    told = capsys.readouterr().err
    assert "PyQt6" in told and "--headless" in told and "Traceback" not in told


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--camera", "0"], "--scrap"),
        (["--camera", "sim", "--tolerance", "0"], "--tolerance"),
        (["--camera", "sim", "--bits", "one"], "list of bit sizes"),
        (["--camera", "sim", "--events", "/nowhere/e.jsonl"], "cannot be written"),
        (["--camera", "sim", "--rig", "/nowhere/rig.toml"], "rig.toml"),
    ],
)
def test_what_cannot_work_is_told_before_a_window_opens(job, capsys, words, said):
    assert main(["guide", *job[0], *words]) in (2, 4)
    assert said in capsys.readouterr().err


def test_a_rig_without_a_spindle_cannot_guide(job, capsys, tmp_path):
    rig = tmp_path / "no_spindle.toml"
    rig.write_text(Path(job[1]).read_text().split("[spindle]")[0])
    status = main(["guide", *job[0], "--headless", "--camera", "sim", "--rig", str(rig)])
    assert status == 2
    assert "[spindle] is missing" in capsys.readouterr().err
