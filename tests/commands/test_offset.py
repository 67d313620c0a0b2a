"""`drillaid records offset`: from a journal to the rig file and back."""

from __future__ import annotations

import json

import numpy as np
import pytest
from support.drawn_board import design
from support.drilled_journal import drill_board

from drillaid.cli import main
from drillaid.journal.journal import Journal
from drillaid.rig.file import load_rig, save_rig
from drillaid.simulation.rigs import nominal_rig

RIG = nominal_rig(1280, 720, 0.09, tilt_rad=0.06, seed=5)


@pytest.fixture
def shop(tmp_path, monkeypatch):
    """(rig file with a remark of its owner's in it, the folder of the journal)"""
    path = tmp_path / "rig.toml"
    save_rig(RIG, path)
    text = path.read_text().replace("[spindle]", "# the old drill press\n[spindle]\nbelt = 3\n", 1)
    path.write_text(text)
    monkeypatch.setenv("DRILLAID_DATA", str(tmp_path / "data"))
    return path, tmp_path / "data"


def drill(folder, truth, boards=3, scatter=0.03):
    rng = np.random.default_rng(1)
    with Journal.open(folder) as journal:
        for _ in range(boards):
            drill_board(
                journal, design(6, 4), rng, truth_mm=truth, scatter_mm=scatter,
                spindle_mm=load_rig_spindle(),
            )  # fmt: skip


def load_rig_spindle():
    return [float(v) for v in RIG.spindle_mm(1.6)]


def run(capsys, *words, status=0) -> dict:
    assert main(["records", "offset", *map(str, words), "--json"]) == status
    return json.loads(capsys.readouterr().out)


def test_offered_applied_only_when_asked_and_taken_back(shop, capsys):
    path, folder = shop
    drill(folder, (0.12, -0.05))
    before = path.read_text()
    said = run(capsys, "--rig", path)
    assert said["status"] == "systematic" and said["applied"] is False
    assert said["off_mm"] == pytest.approx([0.12, -0.05], abs=4 * said["sigma_mm"])
    assert path.read_text() == before  # nothing happens unasked

    assert run(capsys, "--rig", path, "--apply")["applied"] is True
    moved = load_rig(path)
    assert moved.axis_mm - RIG.axis_mm == pytest.approx(said["off_mm"])
    assert moved.extra["spindle"]["sigma_mm"] == pytest.approx(said["sigma_mm"])
    text = path.read_text()
    assert "# the old drill press" in text and "belt = 3" in text
    (entry,) = moved.extra["spindle"]["history"]
    assert entry["holes"] == said["holes"] and entry["taken_back"] is False

    # the same boards now say that nothing is left to correct
    again = run(capsys, "--rig", path)
    assert again["status"] == "scatter"
    assert again["off_mm"] == pytest.approx([0, 0], abs=1e-6)
    run(capsys, "--rig", path, "--apply", status=3)  # and nothing is applied twice

    back = run(capsys, "--rig", path, "--take-back")
    assert back["status"] == "taken_back"
    restored = load_rig(path)
    assert restored.axis_mm == pytest.approx(RIG.axis_mm)
    assert restored.extra["spindle"]["history"][0]["taken_back"] is True
    assert main(["records", "offset", "--rig", str(path), "--take-back"]) == 2
    assert "no correction to take back" in capsys.readouterr().err


def test_mere_scatter_changes_nothing(shop, capsys):
    path, folder = shop
    drill(folder, (0.0, 0.0), scatter=0.05)
    before = path.read_text()
    said = run(capsys, "--rig", path, "--apply", status=3)
    assert said["status"] == "scatter"
    assert path.read_text() == before


def test_after_a_new_calibration_there_is_nothing_to_take_back(shop, capsys):
    path, folder = shop
    drill(folder, (0.12, -0.05))
    run(capsys, "--rig", path, "--apply")
    axis = load_rig(path).axis_mm + 0.5
    from calibration.rig_draft import read_draft

    read_draft(path).with_section("spindle", {"axis_mm": axis}).save()
    assert main(["records", "offset", "--rig", str(path), "--take-back"]) == 2
    assert "calibrated anew" in capsys.readouterr().err


def test_too_few_holes_and_no_rig_are_told(shop, capsys):
    path, _ = shop
    assert run(capsys, "--rig", path, status=3)["status"] == "too_few"
    assert main(["records", "offset", "--apply"]) == 2
    assert "--rig" in capsys.readouterr().err
