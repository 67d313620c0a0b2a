"""Shared libraries of the system that Qt and OpenCV need on Linux: what is missing, how to get it.

Qt does not raise when one is missing: it aborts the process, or the import
fails with the first name only. So the loader is asked beforehand about
everything at once.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

DEADLINE_S = 60

# What must load for any command and for the tests, relative to site-packages ...
FOR_ALL = (
    "cv2/cv2.abi3.so",
    "PyQt6/QtCore.abi3.so",
    "PyQt6/QtGui.abi3.so",
    "PyQt6/QtWidgets.abi3.so",
    "PyQt6/Qt6/plugins/platforms/libqoffscreen.so",
)
# ... and what only a window on a screen needs besides. Wayland goes through X11.
FOR_WINDOW = ("PyQt6/Qt6/plugins/platforms/libqxcb.so",)

# Library -> Debian package, for those whose package is not called after the
# library as Debian Policy 8.1 has it (package_of() knows the rule). Names as in
# Debian 12; Debian 13 and Ubuntu 24.04 still answer to them.
_PACKAGES = {
    "libEGL.so.1": "libegl1",
    "libGL.so.1": "libgl1",
    "libGLX.so.0": "libglx0",
    "libOpenGL.so.0": "libopengl0",
    "libSM.so.6": "libsm6",
    "libX11-xcb.so.1": "libx11-xcb1",
    "libX11.so.6": "libx11-6",
    "libglib-2.0.so.0": "libglib2.0-0",
    "libgmodule-2.0.so.0": "libglib2.0-0",
    "libgobject-2.0.so.0": "libglib2.0-0",
    "libgthread-2.0.so.0": "libglib2.0-0",
    "libstdc++.so.6": "libstdc++6",
    "libgcc_s.so.1": "libgcc-s1",
    "libxcb-util.so.1": "libxcb-util1",
    "libz.so.1": "zlib1g",
}


@dataclass(frozen=True)
class Missing:
    """Libraries the loader did not find, by their file names ("libGL.so.1"), sorted.

    for_all: without these no command runs; for_window: only the window asks for them.
    """

    for_all: tuple[str, ...] = ()
    for_window: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.for_all or self.for_window)

    @property
    def packages(self) -> tuple[str, ...]:
        """The Debian packages that hold them, sorted, each once."""
        return tuple(sorted({package_of(name) for name in self.for_all + self.for_window}))


def line_to_type(packages: Sequence[str]) -> str:
    """The one line that installs packages on a Debian-family machine."""
    install = "sudo apt-get install -y --no-install-recommends"
    return f"sudo apt-get update && {install} {' '.join(packages)}"


def package_of(library: str) -> str:
    """The Debian package that holds a library.

    By the table above, else by the rule of the Debian Policy Manual, section
    8.1: library name and version number, lower case, a hyphen between them if
    the name ends in a digit (libxcb-cursor.so.0 -> libxcb-cursor0).
    """
    if library in _PACKAGES:
        return _PACKAGES[library]
    match = re.fullmatch(r"(.+)\.so\.(\d+).*", library)
    if match is None:
        return library.lower()
    name, version = match[1].lower().replace("_", "-"), match[2]
    return f"{name}-{version}" if name[-1].isdigit() else name + version


def not_found_in(report: str) -> set[str]:
    """Library names that a report of `ldd`, or the loader's own error, says are missing."""
    return set(
        re.findall(r"^\s*(\S+) => not found", report, re.MULTILINE)
        + re.findall(r"([^\s:]+\.so[.\d]*): cannot open shared object file", report)
    )


def find_missing(site_packages: Path, python: Path | str = sys.executable) -> Missing:
    """Asks the system's loader about the compiled parts of Qt and OpenCV.

    site_packages: where they are installed; parts that are not there are passed over.
    python: the interpreter that tries to load them where there is no `ldd`.
    On other systems than Linux the wheels bring what they need: nothing is missing.
    """
    if not sys.platform.startswith("linux"):
        return Missing()
    for_all = _missing_of(site_packages, FOR_ALL, python)
    for_window = _missing_of(site_packages, FOR_WINDOW, python) - for_all
    return Missing(tuple(sorted(for_all)), tuple(sorted(for_window)))


def _missing_of(site_packages: Path, parts: tuple[str, ...], python: Path | str) -> set[str]:
    files = [str(site_packages / part) for part in parts if (site_packages / part).exists()]
    if not files:
        return set()
    ldd = shutil.which("ldd")
    report = _answer([ldd, *files]) if ldd else ""
    if "=>" not in report:  # no ldd, or one that does not speak as we expect
        report = _answer([str(python), "-I", "-c", _TRY_TO_LOAD, *files])
    return not_found_in(report)


# Qt's own libraries find each other by their run path, so plain loading is enough.
_TRY_TO_LOAD = """
import ctypes, sys
for name in sys.argv[1:]:
    try:
        ctypes.CDLL(name)
    except OSError as error:
        print(error)
"""


def _answer(command: list[str]) -> str:
    """What a command prints on both channels; empty if it cannot be had in time."""
    environment = {**os.environ, "LC_ALL": "C"}
    environment.pop("LD_PRELOAD", None)
    try:
        done = subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            timeout=DEADLINE_S,
            env=environment,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return ""
    return done.stdout.decode("utf-8", "replace")
