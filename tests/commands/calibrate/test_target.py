"""`drillaid calibrate target`: files, JSON and refusals."""

from __future__ import annotations

import json

import pytest

from drillaid.cli import main


def told(capsys, *words: str) -> dict:
    assert main(["calibrate", "target", *words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


@pytest.fixture(autouse=True)
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_without_options(here, capsys):
    got = told(capsys)
    assert got["status"] == "done" and got["file"] == "test-board.pdf"
    assert (got["squares"], got["square_mm"], got["ruler_mm"]) == ([26, 16], 10.0, 100.0)
    assert got["paper_mm"] == [297, 210]
    assert (here / "test-board.pdf").read_bytes().startswith(b"%PDF")


def test_chessboard_counts_its_inner_corners(here, capsys):
    words = ("--chessboard", "9x6", "--square-mm", "25", "--out", "chess.svg")
    got = told(capsys, *words)
    assert (got["squares"], got["chessboard"], got["square_mm"]) == ([10, 7], [9, 6], 25.0)
    assert (here / "chess.svg").exists()
    assert main(["calibrate", "target", *words]) == 0
    assert "--chessboard 9x6 --square-mm 25 --ruler-mm ____" in capsys.readouterr().out


def test_to_etch(here, capsys):
    got = told(capsys, "--out", "board/")
    assert len(got["files"]) == 4 and got["paper_mm"] == [160, 100]
    assert main(["calibrate", "target", "--out", "board.zip", "--paper", "100x80"]) == 0
    words = capsys.readouterr().out
    assert "CAUTION" in words and "mirrored" in words


def test_portrait_and_resolution(capsys):
    got = told(
        capsys, "--paper", "a6", "--portrait", "--out", "x.png", "--dpi", "100", "--square-mm", "8"
    )
    assert got["paper_mm"] == [105, 148]


def test_marks(here, capsys):
    got = told(capsys, "--marks")
    assert got["file"] == "reference-marks.pdf" and len(got["marks"]) == 12
    assert (here / "reference-marks.pdf").exists()
    assert main(["calibrate", "target", "--marks"]) == 0
    assert "three" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "needed"),
    [
        (("--squares", "30x20"), "largest that fits"),
        (("--squares", "thirty"), "--squares"),
        (("--square-mm", "nan"), "square"),
        (("--square-mm", "90", "--paper", "A5"), "larger paper"),
        (("--paper", "A44"), "--paper"),
        (("--out", "board.jpeg"), ".pdf"),
        (("--out", "no/such/place.pdf"), "cannot be written"),
        (("--out", "x.png", "--dpi", "9"), "--dpi"),
        (("--marks", "--out", "x.zip"), "printed"),
        (("--marks", "--squares", "9x9"), "--marks"),
        (("--marks", "--paper", "A6"), "A5"),
    ],
)
def test_what_cannot_be_drawn(here, capsys, words, needed):
    assert main(["calibrate", "target", *words]) in (2, 4)
    captured = capsys.readouterr()
    assert captured.out == "" and needed in captured.err and captured.err.count("\n") == 1
    assert list(here.iterdir()) == []
