"""The set-up completes from every state an interruption can leave, and harms nobody's files."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from support.startup import ENTRIES, bare, finished, make_root

from drillaid.startup import install
from drillaid.startup.place import Place, is_ready
from drillaid.startup.programs import Trouble

ROOT = Path(__file__).resolve().parents[2]


class Killed(BaseException):
    """Stands for kill -9: nothing may catch it."""


class Outside:
    """A fake of python -m venv and pip; can die or fail after any number of small steps."""

    def __init__(self, place: Place, monkeypatch, *, die_after: int | None = None) -> None:
        self.place, self.left = place, die_after
        self.calls: list[str] = []
        self.failing: dict[str, str] = {}
        self.steps = 0
        monkeypatch.setattr(install, "run_logged", self._run)
        monkeypatch.setattr(install, "need_libraries", lambda place: self._step())
        monkeypatch.setattr(install, "need_venv_modules", lambda place, held: self._step())
        write = install.write_stamp
        monkeypatch.setattr(install, "write_stamp", lambda *a: (self._step(), write(*a)))
        remove = shutil.rmtree
        monkeypatch.setattr(shutil, "rmtree", lambda *a, **k: (self._step(), remove(*a, **k)))

    def _step(self) -> None:
        self.steps += 1
        if self.left is not None:
            self.left -= 1
            if self.left < 0:
                raise Killed

    def _run(self, command, *, log, deadline_s, held, env, on_line=None):
        words = [str(word) for word in command]
        kind = "venv" if "venv" in words else "download" if "download" in words else "install"
        self.calls.append(kind)
        assert deadline_s > 0 and "PYTHONPATH" not in env
        if kind in self.failing:
            return 1, self.failing[kind]
        getattr(self, f"_{kind}")(words)
        return 0, ""

    def _venv(self, words) -> None:
        self._step()
        bare(self.place)
        self._step()

    def _download(self, words) -> None:
        assert self.place.python.exists()
        for name in ("a.whl", "b.whl"):
            self._step()
            Path(words[words.index("-d") + 1], name).write_text("")

    def _install(self, words) -> None:
        assert "--no-index" in words and "--require-hashes" in words
        assert sorted(os.listdir(self.place.wheels)) == ["a.whl", "b.whl"]
        for name in ENTRIES:
            self._step()
            (self.place.packages / name).mkdir(exist_ok=True)
        if any("test" in Path(word).name for word in words if word.endswith(".txt")):
            self._step()
            (self.place.packages / "pytest").mkdir()  # fails if it was already half there


@pytest.fixture
def place(tmp_path) -> Place:
    return make_root(tmp_path)


@pytest.mark.parametrize("stage", ["run", "test"])
def test_from_nothing(place, monkeypatch, stage, capsys):
    outside = Outside(place, monkeypatch)
    install.set_up(place, stage)
    assert outside.calls == ["venv", "download", "install"]
    assert is_ready(place, stage) and is_ready(place, "run")
    assert not place.wheels.exists() and not place.scratch.exists()
    assert capsys.readouterr().out == ""  # standard output belongs to the command


def test_the_second_time_nothing_is_done(place, monkeypatch):
    finished(place, ["run"])
    outside = Outside(place, monkeypatch)
    install.set_up(place, "run")
    assert outside.calls == [] and not place.lock.exists()


def test_the_tests_packages_come_on_top(place, monkeypatch):
    finished(place, ["run"])
    outside = Outside(place, monkeypatch)
    install.set_up(place, "test")
    assert outside.calls == ["download", "install"]
    assert is_ready(place, "run") and is_ready(place, "test")


def test_again_makes_all_of_it_anew(place, monkeypatch):
    finished(place, ["run"])
    outside = Outside(place, monkeypatch)
    install.set_up(place, "run", again=True)
    assert outside.calls == ["venv", "download", "install"]


def steps_of(stage, ready, tmp_path, monkeypatch) -> int:
    place = make_root(tmp_path)
    if ready:
        finished(place, ready)
    with monkeypatch.context() as patch:
        outside = Outside(place, patch)
        install.set_up(place, stage)
    return outside.steps


@pytest.mark.parametrize(
    ("stage", "ready"), [("run", []), ("test", []), ("test", ["run"])], ids=str
)
def test_killed_at_any_step_and_started_again(tmp_path, monkeypatch, stage, ready):
    (tmp_path / "count").mkdir()
    steps = steps_of(stage, ready, tmp_path / "count", monkeypatch)
    assert steps >= 8
    for number in range(steps):
        folder = tmp_path / str(number)
        folder.mkdir()
        place = make_root(folder)
        if ready:
            finished(place, ready)
        with monkeypatch.context() as patch:
            Outside(place, patch, die_after=number)
            with pytest.raises(Killed):
                install.set_up(place, stage)
        was_complete = is_ready(place, stage)
        with monkeypatch.context() as patch:
            outside = Outside(place, patch)
            install.set_up(place, stage)
        assert is_ready(place, stage)
        assert (outside.calls == []) == was_complete
        assert set(ENTRIES) <= set(os.listdir(place.packages))


def test_no_network_leaves_what_works(place, monkeypatch):
    finished(place, ["run"])
    outside = Outside(place, monkeypatch)
    outside.failing["download"] = "NewConnectionError: Temporary failure in name resolution"
    with pytest.raises(Trouble, match="no network"):
        install.set_up(place, "test")
    assert is_ready(place, "run")


def test_a_failed_install_is_not_taken_for_a_good_one(place, monkeypatch):
    finished(place, ["run"])
    outside = Outside(place, monkeypatch)
    outside.failing["install"] = "OSError: [Errno 28] No space left on device"
    with pytest.raises(Trouble, match="disk is full"):
        install.set_up(place, "test")
    assert not is_ready(place, "run") and not is_ready(place, "test")


def test_too_little_room_is_told_before_anything_is_fetched(place, monkeypatch):
    outside = Outside(place, monkeypatch)
    usage = shutil.disk_usage(place.root)._replace(free=50_000_000)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage)
    with pytest.raises(Trouble, match="50 MB are free"):
        install.set_up(place, "run")
    assert outside.calls == []


# --- whose .venv it is -----------------------------------------------------------------------


def test_a_foreign_environment_is_moved_aside_whole(place, monkeypatch, capsys):
    place.venv.mkdir()
    (place.venv / "pyvenv.cfg").write_text("precious")
    Outside(place, monkeypatch)
    install.set_up(place, "run")
    aside = place.root / ".venv-moved-1"
    assert (aside / "pyvenv.cfg").read_text() == "precious"
    assert aside.name in capsys.readouterr().err
    assert is_ready(place, "run")


@pytest.mark.parametrize("kind", ["file", "link", "dangling"])
def test_something_else_called_venv(place, monkeypatch, kind):
    target = place.root / "target"
    if kind == "file":
        place.venv.write_text("a file")
    else:
        if kind == "link":
            target.mkdir()
            (target / "precious").write_text("")
        place.venv.symlink_to(target)
    (place.root / ".venv-moved-1").mkdir()  # an earlier one
    Outside(place, monkeypatch)
    install.set_up(place, "run")
    assert os.path.lexists(place.root / ".venv-moved-2")
    if kind == "link":
        assert (target / "precious").exists()
    assert is_ready(place, "run")


def test_links_in_an_old_environment_are_not_followed(place, monkeypatch):
    finished(place, ["run"])
    outside = place.root / "precious"
    outside.mkdir()
    (outside / "file").write_text("")
    (place.venv / "link").symlink_to(outside)
    Outside(place, monkeypatch)
    install.set_up(place, "run", again=True)
    assert (outside / "file").exists() and not (place.venv / "link").exists()


# --- two at once -----------------------------------------------------------------------------


def test_a_second_one_waits_and_finds_it_done(place, monkeypatch, capsys):
    outside = Outside(place, monkeypatch)
    with install.only_one(place):
        second = threading.Thread(target=install.set_up, args=(place, "run"))
        second.start()
        second.join(0.3)
        assert second.is_alive() and outside.calls == []
        finished(place, ["run"])
    second.join(30)
    assert not second.is_alive()
    assert outside.calls == []
    assert "waiting" in capsys.readouterr().err


def test_waiting_has_an_end(place):
    with install.only_one(place):
        with pytest.raises(Trouble, match="not done after"):
            with install.only_one(place, deadline_s=0.1):
                pass


@pytest.mark.skipif(os.name == "nt", reason="there a lock is not inherited")
def test_the_lock_outlives_us_while_our_program_runs(place):
    """A start.py that is killed leaves pip running: nobody may begin before pip ends."""
    code = (
        "import sys, pathlib; sys.path.insert(0, sys.argv[1]);"
        "from drillaid.startup import install, place; import subprocess, os\n"
        "p = place.Place(pathlib.Path(sys.argv[2]))\n"
        "with install.only_one(p) as held:\n"
        "    subprocess.Popen([sys.executable, '-c', 'input()'], pass_fds=(held,))\n"
        "    os._exit(9)\n"
    )
    pipe_end, our_end = os.pipe()
    with os.fdopen(our_end, "w") as ours:
        command = [sys.executable, "-c", code, str(ROOT), str(place.root)]
        done = subprocess.run(command, stdin=pipe_end, timeout=60, check=False)
        os.close(pipe_end)
        assert done.returncode == 9
        with pytest.raises(Trouble), install.only_one(place, deadline_s=0.3):
            pass
        ours.write("end\n")
    with install.only_one(place, deadline_s=30):
        pass


def test_names_come_in_rows(capsys):
    on_line = install.names_in_rows(width=30)
    for name in ("numpy", "scipy", "opencv-python-headless", "x"):
        on_line(f"Collecting {name}==1.0 (from -r lock (line 3))")
        on_line(f"  Downloading {name}.whl")
    rows = capsys.readouterr().err.splitlines()
    assert rows == ["  numpy scipy", "  opencv-python-headless x"]
