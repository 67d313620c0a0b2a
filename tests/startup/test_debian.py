"""What is installed by itself, what is only told, and when."""

from __future__ import annotations

import os
import sys

import pytest
from support.startup import finished, make_root

from drillaid.startup import debian
from drillaid.startup.libraries import Missing
from drillaid.startup.place import Place
from drillaid.startup.programs import Trouble

WINDOW_ONLY = Missing((), ("libxcb-cursor.so.0",))
ALL = Missing(("libGL.so.1",), ("libxcb-cursor.so.0",))


class Machine:
    """A fake of everything outside: loader, apt-get, and who we are."""

    def __init__(self, monkeypatch, *, debian_family: bool, root: bool) -> None:
        self.commands: list[list[str]] = []
        self.missing = [Missing()]
        self.apt_says = (0, "")
        self.looked = 0
        monkeypatch.setattr(debian, "is_debian_family", lambda: debian_family)
        monkeypatch.setattr(os, "geteuid", lambda: 0 if root else 1000, raising=False)
        monkeypatch.setattr(debian, "find_missing", self._find)
        monkeypatch.setattr(debian, "run_logged", self._run)

    def _find(self, packages, python):
        self.looked += 1
        return self.missing.pop(0) if len(self.missing) > 1 else self.missing[0]

    def _run(self, command, **how):
        assert how["deadline_s"] <= debian.APT_DEADLINE_S
        assert how["env"]["DEBIAN_FRONTEND"] == "noninteractive"
        self.commands.append(list(command))
        return self.apt_says

    @property
    def installed(self) -> list[str]:
        """Package names of all apt-get install commands."""
        last = "--no-install-recommends"
        return [word for c in self.commands if "install" in c for word in c[c.index(last) + 1 :]]


@pytest.fixture
def place(tmp_path) -> Place:
    place = make_root(tmp_path)
    finished(place, ["run"])
    return place


def test_nothing_missing_is_remembered(place, monkeypatch):
    machine = Machine(monkeypatch, debian_family=True, root=True)
    debian.need_libraries(place)
    debian.need_libraries(place)
    assert machine.looked == 1 and machine.commands == []


def test_a_new_lock_is_looked_at_anew(place, monkeypatch):
    machine = Machine(monkeypatch, debian_family=True, root=True)
    debian.need_libraries(place)
    place.lock_files("run")[0].write_text("PyQt6==99\n")
    debian.need_libraries(place)
    assert machine.looked == 2


def test_root_on_debian_gets_them_installed(place, monkeypatch):
    machine = Machine(monkeypatch, debian_family=True, root=True)
    machine.missing = [ALL, Missing()]
    debian.need_libraries(place)
    assert machine.installed == ["libgl1", "libxcb-cursor0"]
    assert "update" in machine.commands[0]
    assert debian.are_libraries_known(place)


def test_a_loader_that_names_one_at_a_time(place, monkeypatch):
    machine = Machine(monkeypatch, debian_family=True, root=True)
    machine.missing = [Missing(("libEGL.so.1",)), Missing(("libGL.so.1",)), Missing()]
    debian.need_libraries(place)
    assert machine.installed == ["libegl1", "libgl1"]


def test_an_install_that_does_not_help_ends(place, monkeypatch):
    machine = Machine(monkeypatch, debian_family=True, root=True)
    machine.missing = [ALL]
    with pytest.raises(Trouble, match=r"libGL\.so\.1"):
        debian.need_libraries(place)
    assert machine.installed == ["libgl1", "libxcb-cursor0"]  # tried once


def test_others_on_debian_are_told_one_line(place, monkeypatch):
    machine = Machine(monkeypatch, debian_family=True, root=False)
    machine.missing = [ALL]
    with pytest.raises(Trouble) as caught:
        debian.need_libraries(place)
    lines = str(caught.value).splitlines()
    assert lines[-1].strip().startswith("sudo apt-get update && sudo apt-get install")
    assert lines[-1].endswith(" libgl1 libxcb-cursor0")
    assert machine.commands == []


def test_elsewhere_the_names_are_told(place, monkeypatch):
    machine = Machine(monkeypatch, debian_family=False, root=True)
    machine.missing = [ALL]
    with pytest.raises(Trouble, match=r"libGL\.so\.1") as caught:
        debian.need_libraries(place)
    assert "apt-get" not in str(caught.value)
    assert machine.commands == []


def test_what_only_the_window_needs_stops_nothing(place, monkeypatch, capsys):
    machine = Machine(monkeypatch, debian_family=True, root=False)
    machine.missing = [WINDOW_ONLY]
    debian.need_libraries(place)
    told = capsys.readouterr()
    assert "libxcb-cursor0" in told.err and told.out == ""
    assert not debian.are_libraries_known(place)  # looked at again next time


def test_apt_that_fails_is_explained(place, monkeypatch):
    machine = Machine(monkeypatch, debian_family=True, root=True)
    machine.missing = [ALL]
    machine.apt_says = (100, "E: Failed to fetch http://mirror/libgl1.deb")
    with pytest.raises(Trouble, match="no network"):
        debian.need_libraries(place)


def test_venv_modules_are_there_now():
    assert debian.has_venv_modules()


@pytest.mark.parametrize(
    ("family", "root", "words"),
    [
        (True, False, r"sudo apt-get .*install .*python3\.\d+-venv$"),
        (False, True, "package of your system"),
    ],
)
def test_missing_venv_modules_are_explained(place, monkeypatch, family, root, words):
    machine = Machine(monkeypatch, debian_family=family, root=root)
    monkeypatch.setattr(debian, "has_venv_modules", lambda: False)
    with pytest.raises(Trouble, match=words):
        debian.need_venv_modules(place, None)
    assert machine.commands == []


def test_missing_venv_modules_are_installed_by_root(place, monkeypatch):
    machine = Machine(monkeypatch, debian_family=True, root=True)
    answers = [False, True]
    monkeypatch.setattr(debian, "has_venv_modules", lambda: answers.pop(0))
    debian.need_venv_modules(place, None)
    assert machine.installed == ["python{}.{}-venv".format(*sys.version_info[:2])]
