"""`calibrate table` on the simulated table, what it writes, and its refusals."""

from __future__ import annotations

import io
import json
import sys

import cv2
import numpy as np
import pytest
from support.small_board import tiny_design

from drillaid.cli import main
from drillaid.rig.file import load_rig, save_rig
from drillaid.simulation.export import write_fabrication_files
from drillaid.simulation.rigs import nominal_rig
from drillaid.simulation.table_bench import HOME_MADE
from drillaid.table.setup import TableSetup

SIM = ["--camera", "sim", "--port", "sim"]


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("design")
    write_fabrication_files(tiny_design(), folder, "tiny")
    return str(folder)


def test_a_simulated_table_is_measured_and_its_rig_written(files, tmp_path, capsys):
    rig = tmp_path / "bench.toml"
    words = ["calibrate", "table", files, "--rig", str(rig), *SIM, "--targets", "3", "--runs", "2",
             "--seed", "6", "--json"]  # fmt: skip
    status = main(words)
    told = capsys.readouterr()
    assert status == 0, told.err
    answer = json.loads(told.out)
    assert "no emergency stop" in told.err and "simulated" in told.err
    assert answer["status"] == "measured" and answer["departs"].startswith("measured by the camera")
    assert answer["safe"] == {"held": True, "spindle_off": True, "z_up": True}
    # steps are lost now and then on this table, so the figures are less sharp than without
    assert np.array(answer["matrix"]) == pytest.approx(HOME_MADE.matrix, abs=0.003)
    assert answer["backlash_mm"] == pytest.approx(HOME_MADE.backlash_mm, abs=0.03)
    setup = TableSetup.of(load_rig(rig))
    assert setup.matrix == pytest.approx(np.array(answer["matrix"]), abs=1e-6)
    assert setup.backlash_mm == pytest.approx(answer["backlash_mm"], abs=1e-4)
    assert setup.safe_z_mm == -12.0 and "date" in load_rig(rig).extra["table"]


@pytest.fixture
def rig_file(tmp_path):
    path = tmp_path / "bench.toml"
    save_rig(nominal_rig(1280, 720, 0.08), path)
    return str(path)


@pytest.mark.parametrize(
    ("words", "status", "told"),
    [
        (["--camera", "sim", "--port", "/dev/ttyUSB0"], 2, "do not go together"),
        ([*SIM, "--targets", "1"], 2, "3 to 20"),
        ([*SIM, "--area", "1,2,3"], 2, "--area 20,15,60,55"),
        ([*SIM, "--area", "30,2,20,50"], 2, "least first"),
        ([*SIM, "--sheet-mm", "-1"], 2, "0 to 100"),
        ([*SIM, "--area", "20,20,25,60"], 3, "at least 10 mm"),
        (["--camera", "0", "--port", "/dev/ttyUSB0"], 2, "calibrate table --help"),
    ],
)
def test_refusals(words, status, told, files, rig_file, capsys):
    assert main(["calibrate", "table", files, "--rig", rig_file, *words]) == status
    err = capsys.readouterr().err
    assert told in err and "Traceback" not in err


@pytest.fixture
def table_file(rig_file):
    with open(rig_file, "a") as file:
        file.write("[table]\nlimits_mm = [[0.0, 90.0], [0.0, 90.0], [-30.0, 0.0]]\n"
                   "safe_z_mm = -5.0\nsurface_z_mm = -20.0\n")  # fmt: skip
    return rig_file


@pytest.mark.parametrize("sheet", [False, True])
def test_a_port_that_is_not_there(sheet, files, table_file, tmp_path, capsys, monkeypatch):
    stills = tmp_path / "stills"
    stills.mkdir()
    cv2.imwrite(str(stills / "1.png"), np.full((720, 1280, 3), 90, np.uint8))
    monkeypatch.setattr(sys, "stdin", io.StringIO("\n"))
    words = [] if sheet else [files]
    words += ["--rig", table_file, "--camera", str(stills), "--port", "socket://127.0.0.1:1"]
    assert main(["calibrate", "table", *words]) == 4
    assert "127.0.0.1:1" in capsys.readouterr().err


@pytest.mark.parametrize("typed", ["", "no\n"])
def test_nothing_moves_before_a_person_confirms(typed, files, table_file, capsys, monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
    words = ["calibrate", "table", files, "--rig", table_file, "--camera", "0", "--port", "/dev/no"]
    assert main(words) == 3
    told = capsys.readouterr()
    assert "wired to the power" in told.err and "Nothing was moved" in told.out
