"""Files, folders and archives: what is taken, what is left, what is refused."""

from __future__ import annotations

import io
import os
import stat
import zipfile

import pytest
from support.mutated import DRILL_METRIC, zipped

from drillaid.design import sources
from drillaid.design.sources import gather, unpack
from drillaid.errors import DesignError


def refusal(paths) -> DesignError:
    with pytest.raises(DesignError) as caught:
        gather(paths)
    assert caught.value.remedy and caught.value.file
    return caught.value


def test_files_keep_the_order_given(tmp_path):
    for name in ("b.drl", "a.drl"):
        (tmp_path / name).write_bytes(DRILL_METRIC)
    pieces = gather([tmp_path / "b.drl", tmp_path / "a.drl", tmp_path / "b.drl"])
    assert [(p.name, p.named) for p in pieces] == [("b.drl", True), ("a.drl", True)]


def test_a_folder_is_searched_sorted_without_hidden_or_binary_files(tmp_path):
    (tmp_path / "sub").mkdir()
    for name in ("z.drl", "a.txt", "sub/m.drl", ".hidden", "__MACOSX"):
        (tmp_path / name).write_bytes(b"T1\n")
    (tmp_path / "photo.jpg").write_bytes(b"\xff\xd8\0\0")
    assert [(p.name, p.named) for p in gather([tmp_path])] == [
        ("a.txt", False), ("z.drl", False), ("sub/m.drl", False),
    ]  # fmt: skip


def test_a_folder_named_like_a_file_is_a_folder(tmp_path):
    folder = tmp_path / "board.drl"
    folder.mkdir()
    (folder / "in.drl").write_bytes(DRILL_METRIC)
    assert [p.name for p in gather([folder])] == ["in.drl"]


def test_links_that_go_round_are_no_trap(tmp_path):
    (tmp_path / "self").symlink_to(tmp_path / "self")
    (tmp_path / "up").symlink_to(tmp_path)
    (tmp_path / "gone").symlink_to(tmp_path / "nothing")
    (tmp_path / "a.drl").write_bytes(DRILL_METRIC)
    assert [p.name for p in gather([tmp_path])] == ["a.drl"]
    assert "cannot be read" in refusal([tmp_path / "self"]).what
    assert "check the path" in refusal([tmp_path / "gone"]).remedy


def test_what_is_no_file(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    assert "regular" in refusal([tmp_path / "pipe"]).what
    assert gather([tmp_path]) == []
    assert "cannot be read" in refusal([tmp_path / ("n" * 300)]).what
    assert "cannot be read" in refusal([str(tmp_path) + "/a\0b"]).what


def test_unreadable_file(tmp_path):
    path = tmp_path / "a.drl"
    path.write_bytes(DRILL_METRIC)
    path.chmod(0)
    if os.access(path, os.R_OK):
        pytest.skip("permissions do not hold this user back")
    assert "permissions" in refusal([path]).remedy


def test_limits_on_files(tmp_path, monkeypatch):
    monkeypatch.setattr(sources, "MAX_FILE_BYTES", 100)
    monkeypatch.setattr(sources, "MAX_TOTAL_BYTES", 150)
    monkeypatch.setattr(sources, "MAX_FILES", 3)
    for name in "ab":
        (tmp_path / name).write_bytes(b"x" * 90)
    (tmp_path / "large").write_bytes(b"x" * 101)
    assert "larger" in refusal([tmp_path / "large"]).what
    assert "holds more" in refusal([tmp_path]).what
    for name in "cdef":
        (tmp_path / name).write_bytes(b"x")
    assert "3 files" in refusal([tmp_path]).what


# -- archives --------------------------------------------------------------------


def test_archive_members_sorted_by_name_whatever_the_ending(tmp_path):
    path = tmp_path / "board.bin"
    path.write_bytes(zipped({"z/b.drl": b"B", "a.drl": b"A", ".x": b"", "p.png": b"\0\0"}))
    assert [p.name for p in gather([path])] == ["board.bin/a.drl", "board.bin/z/b.drl"]


@pytest.mark.parametrize("name", ["../a.drl", "/etc/a.drl", "x/../../a", "..\\a.drl", "C:/a.drl"])
def test_paths_that_climb_out_are_refused(name):
    with pytest.raises(DesignError, match="out of the archive"):
        unpack(zipped({name: DRILL_METRIC}), "a.zip")


def test_bombs_are_refused_before_they_are_unpacked():
    with pytest.raises(DesignError, match="zip bomb"):
        unpack(zipped({"a.drl": b"0" * 5_000_000}), "a.zip")
    many = {f"{i}.drl": os.urandom(10) for i in range(sources.MAX_FILES + 1)}
    with pytest.raises(DesignError, match="files"):
        unpack(zipped(many), "a.zip")


def test_archive_that_lies_about_sizes():
    data = bytearray(zipped({"a.drl": b"0" * 50_000}, packed=False))
    at = data.rindex(b"PK\x01\x02")
    data[at + 24 : at + 28] = (10).to_bytes(4, "little")
    with pytest.raises(DesignError):
        unpack(bytes(data), "a.zip")


def test_nested_and_broken_archives_are_refused():
    inner = zipped({"a.drl": DRILL_METRIC})
    with pytest.raises(DesignError, match="inside the archive"):
        unpack(zipped({"inner.zip": inner}), "a.zip")
    with pytest.raises(DesignError, match="damaged"):
        unpack(inner[: len(inner) // 2], "a.zip")
    encrypted = bytearray(inner)
    for mark, offset in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        encrypted[encrypted.index(mark) + offset] |= 1
    with pytest.raises(DesignError, match="encrypted"):
        unpack(bytes(encrypted), "a.zip")


def test_links_in_archives_are_left_out():
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        link = zipfile.ZipInfo("link.drl")
        link.external_attr = (stat.S_IFLNK | 0o777) << 16
        archive.writestr(link, "/etc/passwd")
        archive.writestr("a.drl", DRILL_METRIC)
    assert [p.name for p in unpack(buffer.getvalue(), "a.zip")] == ["a.zip/a.drl"]
