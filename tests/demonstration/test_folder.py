"""The demo's folder: its own files are replaced, nobody else's are touched."""

from __future__ import annotations

import os

import pytest

from drillaid.demonstration.folder import MARK, DemoFolder
from drillaid.errors import StorageError, UsageError


def test_an_earlier_demo_is_replaced(tmp_path):
    first = DemoFolder(tmp_path / "out")
    first.file("a.txt").write_text("old")
    (tmp_path / "out" / "mine.txt").write_text("kept")
    DemoFolder(tmp_path / "out")
    assert not (tmp_path / "out" / "a.txt").exists()
    assert (tmp_path / "out" / "mine.txt").read_text() == "kept"


def test_a_folder_with_other_files_is_refused_untouched(tmp_path):
    (tmp_path / "letter.txt").write_text("dear")
    with pytest.raises(UsageError, match="--out"):
        DemoFolder(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["letter.txt"]


def test_a_foreign_list_of_files_is_not_followed(tmp_path):
    outside = tmp_path / "outside.txt"
    outside.write_text("kept")
    out = tmp_path / "out"
    DemoFolder(out)
    head = (out / MARK).read_text().splitlines()[0]
    (out / MARK).write_text(f"{head}\n../outside.txt\n{outside}\n..\n.\n")
    DemoFolder(out)
    assert outside.read_text() == "kept"


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(StorageError, match="--out"):
        DemoFolder(tmp_path / "file" / "out")


@pytest.mark.skipif(os.name == "nt", reason="names of links differ there")
def test_a_file_where_the_folder_should_be_is_told(tmp_path):
    (tmp_path / "out").write_text("x")
    with pytest.raises(StorageError):
        DemoFolder(tmp_path / "out")
