"""Every test: no Python or Qt warning, no unexpected log, no thread left, nothing in the real home.

Tests outside tests/ui (and without the marker `qt`) are collected and run with
PyQt6 impossible to import: the core must not need it.
"""

from __future__ import annotations

import os
import tempfile
import threading
from pathlib import Path

# Before numpy, OpenCV or Qt is imported by any test. One thread each, since
# the tests themselves share out the processors.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "OPENCV_FOR_THREADS_NUM"):
    os.environ.setdefault(_name, "1")
os.environ["QT_QPA_PLATFORM"] = "offscreen"
for _name in ("QT_QPA_PLATFORM_PLUGIN_PATH", "QT_PLUGIN_PATH", "DISPLAY", "WAYLAND_DISPLAY"):
    os.environ.pop(_name, None)

import logging

import pytest
from hypothesis import settings
from support.no_qt import Curtain, is_installed
from support.quiet import LogKeeper, leaked_threads

ROOT = Path(__file__).resolve().parent.parent
UI_TESTS = ROOT / "tests" / "ui"
_curtain = Curtain()

# The same examples each time, and no verdict that hangs on how busy the machine is.
settings.register_profile("house", deadline=None, derandomize=True, database=None)
settings.load_profile("house")

if not is_installed():
    collect_ignore = ["ui"]


def _home_variables(folder: Path) -> dict[str, str]:
    """Everything the platforms derive their user folders from."""
    variables = dict.fromkeys(("HOME", "USERPROFILE", "APPDATA", "LOCALAPPDATA"), str(folder))
    for name in ("DATA", "CONFIG", "CACHE", "STATE"):
        variables[f"XDG_{name}_HOME"] = str(folder / name.lower())
    return {**variables, "XDG_RUNTIME_DIR": str(folder)}


def pytest_addoption(parser: pytest.Parser, pluginmanager: pytest.PytestPluginManager) -> None:
    """With -p no:pytest-qt, as where PyQt6 is not installed, its settings mean nothing."""
    if not pluginmanager.hasplugin("pytest-qt") and not pluginmanager.hasplugin("pytestqt.plugin"):
        for name in ("qt_api", "qt_log_level_fail", "qt_log_ignore"):
            parser.addini(name, "unused without pytest-qt")


def pytest_configure(config: pytest.Config) -> None:
    """While modules are imported, and in fixtures wider than one test, the home is a spare one."""
    folder = tempfile.TemporaryDirectory(prefix="drillaid-tests-", ignore_cleanup_errors=True)
    config.add_cleanup(folder.cleanup)
    os.environ.update(_home_variables(Path(folder.name)))


@pytest.fixture(autouse=True)
def own_home(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A fresh, empty home for each test; the person's own is out of reach."""
    folder = tmp_path_factory.mktemp("home")
    for name, value in _home_variables(folder).items():
        monkeypatch.setenv(name, value)
    return folder


# --- the core without Qt ---------------------------------------------------------------------


def _may_use_qt(node: pytest.Item | pytest.Collector) -> bool:
    in_ui = UI_TESTS == node.path or UI_TESTS in node.path.parents
    return in_ui or node.get_closest_marker("qt") is not None


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector: pytest.Collector):
    is_core = isinstance(collector, pytest.Module) and not _may_use_qt(collector)
    (_curtain.close if is_core else _curtain.open)()
    try:
        return (yield)
    finally:
        _curtain.open()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item):
    (_curtain.open if _may_use_qt(item) else _curtain.close)()
    try:
        return (yield)
    finally:
        _curtain.open()


# --- nothing said, nothing left behind -------------------------------------------------------


@pytest.fixture(autouse=True)
def no_thread_left():
    """Fails a test that leaves a thread running."""
    before = set(threading.enumerate())
    yield
    left = leaked_threads(before)
    assert not left, f"threads left running: {', '.join(left)}"


@pytest.fixture(autouse=True)
def no_unexpected_log(request: pytest.FixtureRequest):
    """Fails a test during which WARNING or worse was logged, unless it is marked `logs`."""
    keeper, root = LogKeeper(), logging.getLogger()
    root.addHandler(keeper)
    yield
    root.removeHandler(keeper)
    if request.node.get_closest_marker("logs") is None:
        said = [f"{record.name}: {record.getMessage()}" for record in keeper.records]
        assert not said, f"logged although nothing was expected: {said}"


# --- data ------------------------------------------------------------------------------------


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """The folder with real data beside the checkout; skips where it is absent."""
    folder = ROOT.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("the shared data folder is not beside this checkout")
    return folder
