"""The guards of conftest.py do fail the tests they are there to fail."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from support.children import program

ROOT = Path(__file__).resolve().parent.parent

CORE = """
import logging, threading, time, warnings
from pathlib import Path
import pytest

def test_quiet():
    pass

def test_warns():
    warnings.warn("something will be removed")

def test_logs():
    logging.getLogger("x").warning("careful")

@pytest.mark.logs
def test_logs_on_purpose():
    logging.getLogger("x").warning("careful")

def test_leaves_a_thread():
    threading.Thread(target=time.sleep, args=(3,), daemon=True).start()

def test_ends_its_thread():
    thread = threading.Thread(target=time.sleep, args=(0.01,))
    thread.start()
    thread.join()

def test_thread_that_raises():
    thread = threading.Thread(target=lambda: 1 / 0)
    thread.start()
    thread.join()

def test_core_imports_qt():
    import PyQt6.QtCore

def test_home_is_empty():
    assert Path.home() != Path(REAL_HOME) and not list(Path.home().iterdir())

@pytest.mark.qt
def test_marked_may_import_qt():
    import PyQt6.QtCore
"""

UI = """
from PyQt6.QtCore import qWarning
from PyQt6.QtWidgets import QLabel

def test_qt_quiet(qtbot):
    qtbot.addWidget(QLabel("12"))

def test_qt_warns(qtbot):
    qWarning(b"QPainter::begin: not yet")
"""

EXPECTED = {
    "test_quiet": "PASSED",
    "test_warns": "FAILED",
    "test_logs": "ERROR",
    "test_logs_on_purpose": "PASSED",
    "test_leaves_a_thread": "ERROR",
    "test_ends_its_thread": "PASSED",
    "test_thread_that_raises": "FAILED",
    "test_core_imports_qt": "FAILED",
    "test_home_is_empty": "PASSED",
    "test_marked_may_import_qt": "PASSED",
    "test_qt_quiet": "PASSED",
    "test_qt_warns": "FAILED",
}


@pytest.mark.qt
def test_each_guard_fails_what_it_should(tmp_path):
    pytest.importorskip("PyQt6")
    (tmp_path / "tests" / "ui").mkdir(parents=True)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    shutil.copy(ROOT / "tests" / "conftest.py", tmp_path / "tests")
    shutil.copytree(ROOT / "tests" / "support", tmp_path / "tests" / "support")
    core = CORE.replace("REAL_HOME", repr(str(tmp_path)))
    (tmp_path / "tests" / "test_core.py").write_text(core, encoding="utf-8")
    (tmp_path / "tests" / "ui" / "test_ui.py").write_text(UI, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-v", "-p", "no:cacheprovider", "-p", "no:xdist"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=100,
        env={**os.environ, "HOME": str(tmp_path)},
    )
    found = {}
    for line in done.stdout.splitlines():
        words = line.split()
        if "::" in line and len(words) > 1 and words[1] in ("PASSED", "FAILED", "ERROR"):
            found[words[0].split("::")[1]] = words[1]
    assert found == EXPECTED, done.stdout


def test_a_program_is_killed_when_its_test_fails():
    """Without that, a test that fails before it has killed its program never ends."""
    with pytest.raises(AssertionError), program("speak_until_killed.py") as child:
        assert child.stdout.readline() == "speaking\n"
        raise AssertionError
    assert child.returncode is not None and child.stdout.closed


def test_waiting_for_a_word_that_never_comes_has_an_end():
    with program("speak_until_killed.py", deadline_s=2.0) as child:
        assert child.stdout.readlines() == ["speaking\n"]


STUCK = """
import ctypes
import time

def test_waits_outside_python():
    # Neither an alarm nor an exception reaches it there.
    while True:
        try:
            ctypes.PyDLL(None).sleep(2)
        except BaseException:
            pass
"""


@pytest.mark.skipif(os.name == "nt", reason="the C library is found otherwise there")
def test_a_test_that_nothing_can_break_off_ends_its_worker(tmp_path):
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    (tmp_path / "tests").mkdir()
    (tmp_path / "tests" / "test_stuck.py").write_text(STUCK, encoding="utf-8")
    words = ["-p", "no:cacheprovider", "-p", "no:xdist", "-o", "faulthandler_timeout=3"]
    done = subprocess.run(
        [sys.executable, "-m", "pytest", *words], cwd=tmp_path, capture_output=True, text=True,
        timeout=100, env={**os.environ, "HOME": str(tmp_path)},
    )  # fmt: skip
    assert done.returncode != 0 and "test_waits_outside_python" in done.stderr
