"""`drillaid demo`: its command line; a true run of it is in tests/demonstration."""

from __future__ import annotations

import pytest

from drillaid.cli import main


@pytest.mark.parametrize(
    ("words", "said"), [(["--window"], "window"), (["--seed", "-3"], "--seed is -3")]
)
def test_what_cannot_work_is_told(words, said, capsys, tmp_path):
    assert main(["demo", "--out", str(tmp_path / "out"), *words]) == 2
    assert said in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_a_folder_with_other_files_is_refused(capsys, tmp_path):
    (tmp_path / "letter.txt").write_text("dear")
    assert main(["demo", "--out", str(tmp_path)]) == 2
    assert "no earlier demo" in capsys.readouterr().err
