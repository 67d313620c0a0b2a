from __future__ import annotations

import csv
import io
import json

import pytest

from drillaid.cli import main
from drillaid.guidance.events import Event
from drillaid.journal.journal import Journal


@pytest.fixture
def folder(tmp_path, monkeypatch):
    with Journal.open(tmp_path, clock=lambda: 1_700_000_000.25) as journal:
        board = journal.start_board("lamp", "abc", holes=2)
        journal.record(
            board,
            Event(1.0, "hole_done", 7, 1, (0.03, -0.04), 0.05, 0.02, detail={"bit_mm": 0.8}),
            Event(
                2.0, "refused", 9, 2, detail={"reason": "hole 2 not counted: it is 0.40 mm off."}
            ),
        )
    monkeypatch.setenv("DRILLAID_DATA", str(tmp_path))
    return tmp_path


def run(capsys, *words) -> str:
    assert main(["records", *words]) == 0
    return capsys.readouterr().out


def test_list(folder, capsys):
    assert "    1  " in run(capsys) and "unfinished  lamp" in run(capsys, "list")
    (board,) = json.loads(run(capsys, "list", "--json"))["boards"]
    assert (board["board"], board["design"], board["holes"], board["done"]) == (1, "lamp", 2, 1)
    assert board["begun"] == "2023-11-14T22:13:20.250Z"


def test_show(folder, capsys):
    out = run(capsys, "show", "1")
    assert "1 of 2 holes done, 0 skipped" in out
    assert "hole_done   hole 1  0.050 mm off, known to 0.020 mm" in out
    assert "refused     hole 2  hole 2 not counted: it is 0.40 mm off." in out
    data = json.loads(run(capsys, "show", "1", "--json"))
    assert [event["event"] for event in data["events"]] == ["hole_done", "refused"]


def test_export(folder, capsys):
    rows = list(csv.DictReader(io.StringIO(run(capsys, "export", "1", "--csv"))))
    assert [row["event"] for row in rows] == ["hole_done", "refused"]
    first = {key: rows[0][key] for key in ("hole", "off_x_mm", "off_y_mm", "distance_mm", "bit_mm")}
    assert list(first.values()) == ["1", "0.03", "-0.04", "0.05", "0.8"]
    assert rows[1]["reason"] == "hole 2 not counted: it is 0.40 mm off."
    data = json.loads(run(capsys, "export", "1", "--json"))
    assert data["events"][0]["off_mm"] == [0.03, -0.04]


def test_names_cannot_command_the_terminal(tmp_path, capsys):
    with Journal.open(tmp_path) as journal:
        journal.start_board("a\x1b[2J\nb", "x", holes=1)
    assert "a?[2J?b" in run(capsys, "--data", str(tmp_path))


def test_nothing_recorded(tmp_path, capsys):
    assert "No boards are recorded" in run(capsys, "--data", str(tmp_path))


def test_what_is_missing_is_said(folder, capsys):
    assert main(["records", "show"]) == 2
    assert "needs the number of a board" in capsys.readouterr().err
    assert main(["records", "export", "9"]) == 2
    assert "there is no board 9" in capsys.readouterr().err


def test_a_damaged_journal_is_told_and_does_not_stop_the_program(folder, capsys):
    (folder / "journal.sqlite3").write_bytes(b"spoilt" * 1000)
    assert main(["records"]) == 0
    captured = capsys.readouterr()
    assert "damaged" in captured.err and "No boards are recorded" in captured.out
