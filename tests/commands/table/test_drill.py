"""`table drill` on the simulated table, and its refusals."""

from __future__ import annotations

import json
import math
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


def test_a_simulated_board_is_drilled_recorded_and_gone_on_with(
    files, tmp_path, capsys, monkeypatch
):
    events = tmp_path / "events.jsonl"
    words = [*SIM, "--events", str(events), "--data", str(tmp_path), "--seed", "3", "--look-again"]

    class Impatient(Teller):
        """Presses the keyboard's stop after five holes."""

        pressed = False

        def __call__(self, view):
            super().__call__(view)
            if self.pressed:
                return
            if view.progress is not None and view.progress.done == 5:
                self.pressed = True
                raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("drillaid.commands.table.working.Teller", Impatient)
        assert main(["table", "drill", files, *words, "--json"]) == 130
    answer = json.loads(capsys.readouterr().out)
    assert answer["done"] == 5 and answer["safe"]["spindle_off"] and answer["safe"]["z_up"]
    status = main(["table", "drill", files, *words, "--resume", "--json"])
    told = capsys.readouterr()
    answer = json.loads(told.out)
    assert status == 0, told.err
    assert answer["done"] == answer["holes"] == 14
    assert answer["safe"] == {"held": True, "spindle_off": True, "z_up": True}
    assert answer["worst_seen_mm"] <= 0.03
    assert "no emergency stop" in told.err and "simulated" in told.err
    rows = [json.loads(line) for line in events.read_text().splitlines()]
    assert sum(row["event"] == "hole_done" for row in rows) == 14 - 5
    measured = [row for row in rows if row["event"] == "measured"]
    assert len(measured) == 14 - 5
    off = [row["drilled_off_mm"] for row in measured if row["hole_state"] == "drilled"]
    assert len(off) >= 7 and max(math.hypot(*xy) for xy in off) < 0.2  # the bit wanders
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


def test_nothing_to_go_on_with(files, tmp_path, capsys):
    assert main(["table", "drill", files, *SIM, "--resume", "--data", str(tmp_path)]) == 2
    assert "no unfinished board" in capsys.readouterr().err
