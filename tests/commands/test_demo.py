"""`drillaid demo`: its command line; a true run of it is in tests/demonstration."""

from __future__ import annotations

from pathlib import Path

import pytest

from drillaid.cli import main


@pytest.mark.parametrize(
    ("words", "said"), [(["--seed", "-3"], "--seed is -3"), (["--window", "--seed", "-3"], "-3")]
)
def test_what_cannot_work_is_told(words, said, capsys, tmp_path):
    assert main(["demo", "--out", str(tmp_path / "out"), *words]) == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_a_folder_with_other_files_is_refused(capsys, tmp_path):
    (tmp_path / "letter.txt").write_text("dear")
    assert main(["demo", "--out", str(tmp_path)]) == 2
    assert "no earlier demo" in capsys.readouterr().err


def test_the_window_is_offered_the_invented_board(monkeypatch, tmp_path):
    """What it would open on; the window itself is tested in tests/ui."""
    from drillaid.commands import Answer, opening

    how = {}
    monkeypatch.setattr(
        opening, "open_window", lambda words, **given: how.update(given) or Answer("closed")
    )
    assert main(["demo", "--out", str(tmp_path / "demo"), "--window"]) == 0
    assert how["camera"] == "sim" and how["data"] == str(tmp_path / "demo")
    assert len(how["paths"]) == 4 and all((tmp_path / "demo") in _parents(p) for p in how["paths"])
    assert how["practice"](None, 1).board.design.name == "stair-light timer (invented)"


def _parents(path: str):
    return Path(path).parents
