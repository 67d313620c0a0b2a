"""Files written whole: the old one, or the new one, and nothing else left in the folder."""

from __future__ import annotations

import os
import sys

import pytest

from drillaid.errors import StorageError
from drillaid.files import write_whole

posix = pytest.mark.skipif(os.name == "nt", reason="links and modes of POSIX systems")


@pytest.mark.parametrize("data", ["Loch 3: 0,8 mm – größer\n", b"\x00\xff", ""])
def test_text_and_bytes(tmp_path, data):
    path = tmp_path / "report.html"
    path.write_text("old")
    write_whole(path, data)
    assert path.read_bytes() == (data if isinstance(data, bytes) else data.encode("utf-8"))
    assert os.listdir(tmp_path) == ["report.html"]


@pytest.mark.parametrize("step", ["fsync", "replace"])
def test_a_disk_that_fails_half_way_leaves_the_old_file(tmp_path, monkeypatch, step):
    path = tmp_path / "report.html"
    path.write_text("old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, step, full)
    with pytest.raises(StorageError, match="No space left") as caught:
        write_whole(path, "new")
    assert str(path) in str(caught.value)
    monkeypatch.undo()
    assert path.read_text() == "old" and os.listdir(tmp_path) == ["report.html"]


@pytest.mark.parametrize("place", ["missing/report.html", "folder"])
def test_places_that_cannot_be(tmp_path, place):
    (tmp_path / "folder").mkdir()
    with pytest.raises(StorageError, match="cannot be written"):
        write_whole(tmp_path / place, "new")
    assert os.listdir(tmp_path) == ["folder"]


@posix
def test_a_link_is_followed_and_the_mode_kept(tmp_path):
    (tmp_path / "real").write_text("old")
    (tmp_path / "real").chmod(0o600)
    (tmp_path / "link").symlink_to("real")
    write_whole(tmp_path / "link", "new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_text() == "new"
    assert (tmp_path / "real").stat().st_mode & 0o777 == 0o600


@posix
def test_a_new_file_can_be_read_by_others(tmp_path):
    write_whole(tmp_path / "new", "x")
    assert (tmp_path / "new").stat().st_mode & 0o777 == 0o644


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="limit of Linux file systems")
def test_a_long_name(tmp_path):
    write_whole(tmp_path / ("n" * 250), "x")
    assert os.listdir(tmp_path) == ["n" * 250]
