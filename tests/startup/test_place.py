"""The stamp: valid only for exactly what was installed, and never half-written."""

from __future__ import annotations

import os

import pytest
from support.startup import finished, make_root

from drillaid.startup.place import Place, is_ready, read_stamp, write_stamp, write_whole


@pytest.fixture
def place(tmp_path) -> Place:
    return make_root(tmp_path)


def test_nothing_is_ready_at_first(place):
    assert not is_ready(place, "run")
    assert not is_ready(place, "test")


def test_stages_are_stamped_one_by_one(place):
    finished(place, ["run"])
    assert is_ready(place, "run") and not is_ready(place, "test")
    write_stamp(place, ["run", "test"])
    assert is_ready(place, "run") and is_ready(place, "test")


def test_a_changed_lock_asks_for_a_new_set_up(place):
    finished(place, ["run", "test"])
    with open(place.lock_files("test")[1], "a") as file:
        file.write("more==1\n")
    assert is_ready(place, "run") and not is_ready(place, "test")
    with open(place.lock_files("run")[0], "a") as file:
        file.write("more==1\n")
    assert not is_ready(place, "run")


def test_another_python_asks_for_a_new_set_up(place, monkeypatch):
    finished(place, ["run"])
    monkeypatch.setattr("sys.version_info", (3, 99, 0, "final", 0))
    monkeypatch.setattr(Place, "packages", place.packages)  # where it lies is not the question
    assert read_stamp(place)
    assert not is_ready(place, "run")


@pytest.mark.parametrize("gone", ["numpy", "numpy-2.0.dist-info", "pip"])
def test_a_deleted_package_is_noticed(place, gone):
    finished(place, ["run"])
    (place.packages / gone).rmdir()
    assert not is_ready(place, "run")


def test_a_package_the_person_added_does_no_harm(place):
    finished(place, ["run"])
    (place.packages / "something_else").mkdir()
    assert is_ready(place, "run")


def test_a_deleted_python_is_noticed(place):
    finished(place, ["run"])
    place.python.unlink()
    assert not is_ready(place, "run")


@pytest.mark.parametrize("text", ["", "{", "[]", "{}", "null", '{"run": 3}', "\x00\x00"])
def test_a_damaged_stamp_counts_as_none(place, text):
    finished(place, ["run"])
    place.stamp.write_text(text)
    assert not is_ready(place, "run")


def test_stamp_of_bytes_that_are_no_text_counts_as_none(place):
    finished(place, ["run"])
    place.stamp.write_bytes(b"\xff\xfe{")
    assert read_stamp(place) == {}


def test_write_whole_leaves_the_old_text_when_it_fails(tmp_path, monkeypatch):
    path = tmp_path / "note"
    write_whole(path, "old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        write_whole(path, "new")
    assert path.read_text() == "old"
