"""Folders in the states a set-up can be found in, without network or real packages."""

from __future__ import annotations

from pathlib import Path

from drillaid.startup.place import Place, write_stamp, write_whole

ENTRIES = ("numpy", "numpy-2.0.dist-info", "pip")


def make_root(folder: Path) -> Place:
    """A checkout with lock files and nothing set up."""
    (folder / ".locked").mkdir()
    (folder / ".locked" / "requirements.txt").write_text("numpy==2.0 --hash=sha256:00\n")
    (folder / ".locked" / "requirements-test.txt").write_text("pytest==9.0 --hash=sha256:00\n")
    return Place(folder)


def bare(place: Place) -> None:
    """What making the environment leaves."""
    place.python.parent.mkdir(parents=True, exist_ok=True)
    place.python.write_text("")
    place.packages.mkdir(parents=True, exist_ok=True)
    (place.packages / "pip").mkdir(exist_ok=True)


def finished(place: Place, stages: list[str]) -> None:
    """A complete set-up."""
    place.venv.mkdir(exist_ok=True)
    write_whole(place.mark, "ours")
    bare(place)
    for name in ENTRIES:
        (place.packages / name).mkdir(exist_ok=True)
    write_stamp(place, stages)
