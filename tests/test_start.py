"""start.py: readable by old Pythons, and what each of its words runs."""

from __future__ import annotations

import ast
import importlib.util
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from support.startup import finished, make_root

from drillaid.startup.programs import Trouble

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="module")
def start():
    spec = importlib.util.spec_from_file_location("start", ROOT / "start.py")
    module = importlib.util.module_from_spec(spec)
    path = list(sys.path)
    spec.loader.exec_module(module)
    sys.path[:] = path
    return module


@pytest.mark.parametrize(
    ("version", "old"),
    [((2, 7, 18), True), ((3, 5, 0), True), ((3, 10, 13), True), ((3, 11, 0), False),
     ((3, 14, 1), False), ((4, 0, 0), False)],
)  # fmt: skip
def test_too_old(start, version, old):
    said = start.too_old((*version, "final", 0), "/usr/bin/python3")
    assert (said is not None) == old
    if old:
        assert ".".join(map(str, version)) in said
        assert "3.11" in said and "/usr/bin/python3" in said


def test_an_old_python_can_read_the_file():
    """ASCII, and nothing that the grammar of Python 3.7, the oldest ast knows, lacks."""
    text = (ROOT / "start.py").read_bytes().decode("ascii")
    tree = ast.parse(text, feature_version=(3, 7))
    newer_than_2_7 = (
        ast.JoinedStr,
        ast.AnnAssign,
        ast.NamedExpr,
        ast.Nonlocal,
        ast.AsyncFunctionDef,
    )
    assert not [node for node in ast.walk(tree) if isinstance(node, newer_than_2_7)]
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef):
            arguments = [*node.args.args, node.args.vararg, node.args.kwarg]
            assert node.returns is None and not node.args.kwonlyargs
            assert not [a for a in arguments if a is not None and a.annotation]
        if isinstance(node, ast.Raise):
            assert node.cause is None


def old_pythons() -> list[str]:
    names = ("python2.7", "python3.6", "python3.8", "python3.10")
    found = [shutil.which(name) for name in names]
    beside = Path(sys.base_prefix).parent  # where several versions are kept side by side
    for version in ("2.7*", "3.6*", "3.8*", "3.10*"):
        found += [str(path) for path in beside.glob(f"{version}/bin/python")]
    return [path for path in found if path]


def test_old_pythons_that_are_here_say_so():
    tried = 0
    for python in old_pythons():
        done = subprocess.run(
            [python, str(ROOT / "start.py"), "demo"], capture_output=True, text=True, timeout=60
        )
        if "pyenv:" in done.stderr:  # a name that stands for no Python
            continue
        tried += 1
        assert done.returncode == 1
        assert "needs Python 3.11 or newer" in done.stderr
        assert "Traceback" not in done.stderr and "SyntaxError" not in done.stderr
    if not tried:
        pytest.skip("no old Python on this machine")


@pytest.mark.parametrize("words", [[], ["--help"], ["-h"], ["help"]])
def test_overview(start, capsys, words):
    assert start.main(words) == 0
    told = capsys.readouterr().out
    assert all(word in told for word in ("demo", "test", "bench", "holes"))


def test_a_typing_slip_is_told_before_anything_is_set_up(start, capsys, tmp_path, monkeypatch):
    monkeypatch.setattr(start, "set_up", lambda *a, **k: pytest.fail("began to set up"))
    assert start.main(["dmeo"]) == 2
    assert "'dmeo'" in capsys.readouterr().err


@pytest.fixture
def begun(start, monkeypatch, tmp_path):
    """(place, list of (stage, again) set up, list of commands handed over)."""
    place, stages, commands = make_root(tmp_path), [], []
    finished(place, ["run", "test"])
    monkeypatch.setattr(
        start, "set_up", lambda place, stage, again=False: stages.append((stage, again))
    )

    def hand_over(*words, env=None):
        commands.append((words[-1], env) if env is not None else words[1:])
        raise SystemExit(7)

    monkeypatch.setattr(start.os, "chdir", lambda folder: None)
    monkeypatch.setattr(start.os, "execve", hand_over)
    monkeypatch.setattr(start.subprocess, "call", hand_over)
    return place, stages, commands


def status_of(start, words, place) -> int:
    """As the shell sees it, whether the process is handed over or waited for."""
    try:
        return start.main(words, place)
    except SystemExit as stop:
        return stop.code


@pytest.mark.parametrize(
    ("words", "stage", "module", "rest"),
    [
        (["holes", "a b.drl", "--json"], "run", "drillaid", ["holes", "a b.drl", "--json"]),
        (["--version"], "run", "drillaid", ["--version"]),
        (["window"], "run", "drillaid", []),
        (["test", "-s", "tests/rig"], "test", "pytest", ["-s", "tests/rig"]),
    ],
)
def test_what_is_run(start, begun, words, stage, module, rest, capsys):
    place, stages, commands = begun
    assert status_of(start, words, place) == 7  # the command's own status
    assert stages == [(stage, False)]
    ((command, env),) = commands
    assert command[1:4] == ["-P", "-m", module] and command[4:] == rest
    assert env["PYTHONPATH"] == str(ROOT)
    assert capsys.readouterr().out == ""


def test_bench_runs_what_test_passes_over(start, begun):
    place, stages, commands = begun
    status_of(start, ["bench"], place)
    assert stages == [("test", False)]
    assert "tests/benchmarks" in commands[0][0]


def test_setup_runs_nothing(start, begun):
    place, stages, commands = begun
    assert start.main(["setup"], place) == 0
    assert start.main(["setup", "--again"], place) == 0
    assert stages == [("run", False), ("run", True)] and commands == []


@pytest.mark.parametrize(
    ("error", "status", "words"),
    [
        (Trouble("no network; connect"), 1, "no network; connect"),
        (OSError(30, "Read-only file system", "/x/.venv"), 1, "copy drillaid to a folder"),
        (KeyboardInterrupt(), 130, "type the same again"),
    ],
)
def test_what_goes_wrong_is_told_in_words(start, begun, monkeypatch, capsys, error, status, words):
    def fail(*_, **__):
        raise error

    monkeypatch.setattr(start, "set_up", fail)
    assert start.main(["holes"], begun[0]) == status
    assert words in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "count", "options"),
    [
        ([], 2, ["-n", "2", "--dist", "worksteal"]),
        (["-k", "rig"], 64, ["-n", "8", "--dist", "worksteal"]),
        ([], 1, []),
        ([], None, []),
        (["-s"], 4, []),
        (["-n0"], 4, []),
        (["--pdb"], 4, []),
    ],
)
def test_spreading_over_processors(start, words, count, options):
    assert start.spread(words, count) == options
