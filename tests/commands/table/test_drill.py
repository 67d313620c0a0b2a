"""`table drill` on the simulated table, and its refusals."""

from __future__ import annotations

import json
from argparse import Namespace

import pytest
from support.small_board import tiny_design

from drillaid.cli import main
from drillaid.commands.table.working import Teller, meaning
from drillaid.guidance import events as ev
from drillaid.simulation.export import write_fabrication_files
from drillaid.table import job as j

SIM = ["--camera", "sim", "--port", "sim"]


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("design")
    write_fabrication_files(tiny_design(), folder, "tiny")
    return str(folder)


def test_a_simulated_board_is_drilled_and_recorded(files, tmp_path, capsys):
    events = tmp_path / "events.jsonl"
    words = [*SIM, "--events", str(events), "--data", str(tmp_path), "--seed", "4", "--json"]
    status = main(["table", "drill", files, *words])
    told = capsys.readouterr()
    answer = json.loads(told.out)
    assert status == 0, told.err
    assert answer["done"] == answer["holes"] == 14
    assert answer["safe"] == {"held": True, "spindle_off": True, "z_up": True}
    assert answer["worst_seen_mm"] <= 0.03
    assert "no emergency stop" in told.err and "simulated" in told.err
    rows = [json.loads(line) for line in events.read_text().splitlines()]
    assert sum(row["event"] == "hole_done" for row in rows) == 14
    assert main(["records", "show", str(answer["board"]), "--data", str(tmp_path), "--json"]) == 0
    assert "hole_done" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "status", "told"),
    [
        (["--camera", "sim", "--port", "/dev/ttyUSB0"], 2, "do not go together"),
        (["--camera", "0", "--port", "/dev/ttyUSB0"], 2, "rig file"),
        ([*SIM, "--tolerance", "9"], 2, "0.005 to 1"),
        ([*SIM, "--bits", "x"], 2, "bit"),
        ([*SIM, "--dialect", "nothing"], 2, "shipped"),
        ([*SIM, "--rig", "/nowhere.toml"], 2, "no such file"),
    ],
)
def test_refusals(files, words, status, told, capsys, tmp_path):
    assert main(["table", "drill", files, *words, "--data", str(tmp_path)]) == status
    err = capsys.readouterr().err
    assert told in err and "Traceback" not in err


def view(state: str) -> j.JobView:
    return j.JobView(state, "", 0.0)


def test_keys(capsys):
    assert isinstance(meaning("\n", view(j.LEVER)), ev.Confirm)
    assert isinstance(meaning("q", view(j.MOVING)), j.Stop)
    assert isinstance(meaning("p", view(j.MOVING)), ev.Pause)
    assert isinstance(meaning("p", view(j.PAUSED)), ev.Resume)
    assert isinstance(meaning("S", view(j.MOVING)), ev.Skip)
    assert meaning("what", view(j.MOVING)) is None
    assert "no key here" in capsys.readouterr().err


def test_questions_are_told_once_with_their_cautions(capsys):
    teller = Teller(None, Namespace())
    for _ in range(3):
        teller(j.JobView(j.CAUTIONS, "Confirm.", 0.0, cautions=j.table_cautions()))
    told = capsys.readouterr().err
    assert told.count("Confirm.") == 1 and told.count("wired to the power") == 1
