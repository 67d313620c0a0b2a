"""What Debian and its family can add when something of the system is missing."""

from __future__ import annotations

import contextlib
import importlib
import importlib.util
import os
import shutil
import sys
from collections.abc import Sequence

from drillaid.startup.libraries import Missing, find_missing, line_to_type
from drillaid.startup.place import Place, key, write_whole
from drillaid.startup.programs import Trouble, clean_environment, explain, run_logged, say

APT_DEADLINE_S = 900


def can_install() -> bool:
    """Whether we may put packages in place ourselves: a Debian family, and root."""
    return is_debian_family() and os.geteuid() == 0


def is_debian_family() -> bool:
    """Whether apt-get is the way to get what is missing."""
    return os.path.exists("/etc/debian_version") and shutil.which("apt-get") is not None


def has_venv_modules() -> bool:
    """Debian splits these two off its Python."""
    importlib.invalidate_caches()
    return all(importlib.util.find_spec(name) for name in ("venv", "ensurepip"))


def need_venv_modules(place: Place, held: int | None) -> None:
    """Sees to it that environments can be made, or raises Trouble with the line to type."""
    if has_venv_modules():
        return
    lacking = f"this Python ({sys.executable}) comes without its modules venv and ensurepip"
    package = "python{}.{}-venv".format(*sys.version_info[:2])
    if not is_debian_family():
        raise Trouble(f"{lacking}: install the package of your system that holds them.")
    if not can_install():
        line = line_to_type([package])
        raise Trouble(f"{lacking}. Type this line, then the same again:\n    {line}")
    apt_install(place, [package], held)
    if not has_venv_modules():
        raise Trouble(f"{lacking}, even with {package}: start with /usr/bin/python3 instead.")


def need_libraries(place: Place) -> None:
    """Sees to it that Qt and OpenCV find their libraries; the answer yes is remembered.

    Raises Trouble if a command would not run. If only the window would not
    open, says so and goes on.
    """
    if are_libraries_known(place):
        return
    missing, before = find_missing(place.packages, place.python), None
    while missing and missing != before and can_install():  # not every loader names all at once
        apt_install(place, missing.packages)
        missing, before = find_missing(place.packages, place.python), missing
    if missing.for_all:
        names = ", ".join(missing.for_all)
        raise Trouble(f"libraries of the system are missing: {names}.\n{_how_to_get(missing)}")
    if missing.for_window:
        names = ", ".join(missing.for_window)
        say(f"The window will not open yet, for it lacks {names}.\n{_how_to_get(missing)}")
        return
    with contextlib.suppress(OSError):  # a read-only folder: we look again next time
        write_whole(place.libraries, key(place, "run"))


def are_libraries_known(place: Place) -> bool:
    """Whether an earlier look found every library."""
    try:
        return place.libraries.read_text(encoding="utf-8") == key(place, "run")
    except OSError:
        return False


def _how_to_get(missing: Missing) -> str:
    if is_debian_family():
        return f"Type this line:\n    {line_to_type(missing.packages)}"
    return "Install the packages of your system that hold them."


def apt_install(place: Place, packages: Sequence[str], held: int | None = None) -> None:
    """Installs Debian packages without questions; Trouble if that fails.

    held: the set-up's lock, if we hold it. dpkg has a lock of its own besides.
    """
    say(f"Installing Debian packages: {' '.join(packages)}")
    env = clean_environment(DEBIAN_FRONTEND="noninteractive", LC_ALL="C")
    apt = ["apt-get", "-q", "-o", "DPkg::Lock::Timeout=120", "-o", "Acquire::Retries=2"]
    how = {"log": place.log, "deadline_s": APT_DEADLINE_S, "held": held, "env": env}
    run_logged([*apt, "update"], **how)  # if it fails, older lists may still do
    install = [*apt, "install", "-y", "--no-install-recommends", *packages]
    status, output = run_logged(install, **how)
    if status:
        raise explain("apt-get", output, place.log)
