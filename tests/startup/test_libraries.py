"""Missing shared libraries: what the loader says, and which package to ask for."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest

from drillaid.startup import libraries
from drillaid.startup.libraries import Missing, find_missing, line_to_type, not_found_in, package_of

# As ldd of glibc 2.36 prints it on a Debian 12 with nothing but Python.
REPORT = """\
/x/PyQt6/QtGui.abi3.so:
\tlinux-vdso.so.1 (0x00007ffd0d9f2000)
\tlibQt6Gui.so.6 => /x/PyQt6/Qt6/lib/libQt6Gui.so.6 (0x00007f1e3c000000)
\tlibGL.so.1 => not found
\tlibstdc++.so.6 => /lib/x86_64-linux-gnu/libstdc++.so.6 (0x00007f1e3be00000)
\tlibEGL.so.1 => not found
\tlibGL.so.1 => not found
\t/lib64/ld-linux-x86-64.so.2 (0x00007f1e3d0c6000)
"""


def test_report_of_ldd():
    assert not_found_in(REPORT) == {"libGL.so.1", "libEGL.so.1"}
    assert not_found_in("\tstatically linked\n") == set()


def test_words_of_the_loader():
    said = "libxcb-cursor.so.0: cannot open shared object file: No such file or directory"
    assert not_found_in(said) == {"libxcb-cursor.so.0"}


# Looked up with `apt-file` and `dpkg -S` in Debian 12.
@pytest.mark.parametrize(
    ("library", "package"),
    [
        ("libGL.so.1", "libgl1"),
        ("libEGL.so.1", "libegl1"),
        ("libX11.so.6", "libx11-6"),
        ("libX11-xcb.so.1", "libx11-xcb1"),
        ("libxkbcommon.so.0", "libxkbcommon0"),
        ("libxkbcommon-x11.so.0", "libxkbcommon-x11-0"),
        ("libxcb-cursor.so.0", "libxcb-cursor0"),
        ("libxcb-icccm.so.4", "libxcb-icccm4"),
        ("libxcb.so.1", "libxcb1"),
        ("libfontconfig.so.1", "libfontconfig1"),
        ("libfreetype.so.6", "libfreetype6"),
        ("libdbus-1.so.3", "libdbus-1-3"),
        ("libglib-2.0.so.0", "libglib2.0-0"),
        ("libgthread-2.0.so.0", "libglib2.0-0"),
        ("libstdc++.so.6", "libstdc++6"),
        ("libz.so.1", "zlib1g"),
        ("libzstd.so.1", "libzstd1"),
    ],
)
def test_debian_packages(library, package):
    assert package_of(library) == package


def test_packages_come_once_and_sorted():
    missing = Missing(("libglib-2.0.so.0", "libGL.so.1"), ("libgthread-2.0.so.0",))
    assert missing.packages == ("libgl1", "libglib2.0-0")
    assert line_to_type(missing.packages).endswith(" libgl1 libglib2.0-0")
    assert missing and not Missing()


needs_linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="Linux only")


def lay_out(folder: Path, *parts: str) -> None:
    for part in parts:
        (folder / part).parent.mkdir(parents=True, exist_ok=True)
        (folder / part).write_bytes(b"\x7fELF, but no more of it")


@needs_linux
def test_for_all_and_for_window_are_told_apart(tmp_path, monkeypatch):
    lay_out(tmp_path, *libraries.FOR_ALL, *libraries.FOR_WINDOW)

    def answer(command):
        assert Path(command[0]).name == "ldd"
        window = "\tlibxcb-cursor.so.0 => not found\n" if "libqxcb" in command[-1] else ""
        return REPORT + window

    monkeypatch.setattr(shutil, "which", lambda name: f"/usr/bin/{name}")
    monkeypatch.setattr(libraries, "_answer", answer)
    missing = find_missing(tmp_path)
    assert missing == Missing(("libEGL.so.1", "libGL.so.1"), ("libxcb-cursor.so.0",))


@needs_linux
def test_without_ldd_the_loader_itself_is_asked(tmp_path, monkeypatch):
    lay_out(tmp_path, "PyQt6/QtGui.abi3.so")
    asked = []

    def answer(command):
        asked.append(command)
        return "libGL.so.1: cannot open shared object file: No such file or directory\n"

    monkeypatch.setattr(shutil, "which", lambda name: None)
    monkeypatch.setattr(libraries, "_answer", answer)
    assert find_missing(tmp_path, "/the/python").for_all == ("libGL.so.1",)
    assert asked[0][0] == "/the/python"


@needs_linux
def test_really_asking_about_broken_files_is_no_traceback(tmp_path):
    lay_out(tmp_path, *libraries.FOR_ALL)
    assert find_missing(tmp_path) == Missing()


@needs_linux
@pytest.mark.skipif(not shutil.which("gcc"), reason="no compiler to make a library that lacks one")
@pytest.mark.parametrize("with_ldd", [True, False])
def test_a_library_that_really_lacks_another(tmp_path, monkeypatch, with_ldd):
    """Compiled against a library that is then deleted: both ways must name it."""
    import subprocess

    if with_ldd and not shutil.which("ldd"):
        pytest.skip("no ldd here")
    (tmp_path / "a.c").write_text("int a(void) { return 1; }")
    (tmp_path / "b.c").write_text("int a(void); int b(void) { return a(); }")
    target = tmp_path / libraries.FOR_ALL[1]
    target.parent.mkdir(parents=True)
    gone = "libnot-there.so.7"
    steps = [
        ["gcc", "-shared", "-fPIC", f"-Wl,-soname,{gone}", "-o", gone, "a.c"],
        ["gcc", "-shared", "-fPIC", "-o", str(target), "b.c", "-L.", f"-l:{gone}"],
    ]
    for step in steps:
        subprocess.run(step, cwd=tmp_path, check=True, timeout=60, capture_output=True)
    (tmp_path / gone).unlink()
    if not with_ldd:
        monkeypatch.setattr(shutil, "which", lambda name: None)
    assert find_missing(tmp_path).for_all == (gone,)
    assert package_of(gone) == "libnot-there7"


def test_other_systems_bring_everything(tmp_path, monkeypatch):
    lay_out(tmp_path, *libraries.FOR_ALL)
    monkeypatch.setattr("sys.platform", "darwin")
    assert find_missing(tmp_path) == Missing()
