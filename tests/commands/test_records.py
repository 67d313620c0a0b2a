from __future__ import annotations

import csv
import io
import json

import cv2
import pytest
from support.drilled_board import drilled_bench, record_holes, small_job

from drillaid.cli import main
from drillaid.guidance.events import Event
from drillaid.guidance.job import board_details
from drillaid.journal.journal import Journal
from drillaid.journal.resume import start
from drillaid.rig.file import save_rig


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


# --- after drilling: check, report, sheet -----------------------------------------------------


@pytest.fixture(scope="module")
def drilled(tmp_path_factory):
    """(folder of the journal, photograph, rig file) of a small board, drilled but for hole 6."""
    folder = tmp_path_factory.mktemp("drilled")
    job = small_job(folder)
    bench = drilled_bench(job, (6, 10))
    cv2.imwrite(str(folder / "drilled.png"), bench.render())
    save_rig(bench.rig, folder / "rig.toml")
    with Journal.open(folder) as journal:
        details = board_details(job, "0")
        board = start(journal, job.design, job.work, **details)
        record_holes(journal, board, job, (10,))
    return folder


def records(drilled, capsys, *words):
    status = main(["records", *words, "--data", str(drilled)])
    told = capsys.readouterr()
    return status, told.out, told.err


def test_a_photograph_is_checked_against_the_record(drilled, capsys, tmp_path):
    photo, rig = str(drilled / "drilled.png"), str(drilled / "rig.toml")
    status, told, _ = records(drilled, capsys, "check", "1", photo, "--rig", rig)
    assert status == 3 and "not there: hole 6" in told
    status, told, _ = records(drilled, capsys, "show", "1")
    assert status == 0 and "inspected" in told and "of 20 holes drilled, 2 not yet" in told
    for name in ("r.html", "r.pdf", "s.pdf", "s.svg"):
        what = "report" if name.startswith("r") else "sheet"
        out = tmp_path / name
        assert records(drilled, capsys, what, "1", "--out", str(out))[0] == 0
        assert out.stat().st_size > 3000
    status, told, _ = records(drilled, capsys, "compare", "1")
    assert status == 0 and "19 of 20" in told
    status, _, told = records(drilled, capsys, "sheet", "1", "--out", str(tmp_path / "s.docx"))
    assert status == 2 and "ending in .pdf or .svg" in told


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["show"], "needs the number of a board"),
        (["check", "1"], "needs one photograph"),
        (["show", "one"], "needs the number"),
        (["show", "1", "two"], "'two' is no number"),
        (["list", "1"], "takes no number"),
        (["compare", "99"], "no board 99"),
        (
            ["sheet", "1", "--out", "x.pdf", "--legend", "no.png", "--legend-box", "1,2"],
            "rectangle",
        ),
    ],
)
def test_what_cannot_be_asked_is_told(drilled, capsys, words, said):
    status, out, told = records(drilled, capsys, *words)
    assert status == 2 and said in told and not out


def test_all_boards_are_exported_together(drilled, capsys, tmp_path):
    status, told, _ = records(drilled, capsys, "export")
    rows = told.splitlines()
    assert status == 0 and rows[0].startswith("at,event,hole")
    out = tmp_path / "all.json"
    assert records(drilled, capsys, "export", "1", "--out", str(out))[0] == 0
    assert json.loads(out.read_text())["done"] == 19
