"""Where the set-up lies, and the stamp that says what of it is complete.

The stamp is written last and whole. Without a valid one everything is made
anew, so that an interruption at any moment costs time and nothing else.
"""

from __future__ import annotations

import hashlib
import json
import os
import platform
import sys
import sysconfig
from dataclasses import dataclass
from pathlib import Path

# What each stage of the set-up installs; "test" comes on top of "run".
LOCKS = {"run": ("requirements.txt",), "test": ("requirements.txt", "requirements-test.txt")}


@dataclass(frozen=True)
class Place:
    """All paths of the set-up, from `root`, the folder start.py stands in."""

    root: Path

    @property
    def venv(self) -> Path:
        return self.root / ".venv"

    @property
    def lock(self) -> Path:
        """Beside .venv, not in it: it is held while .venv itself is replaced."""
        return self.root / ".venv.lock"

    @property
    def mark(self) -> Path:
        """Says that .venv is ours to empty."""
        return self.venv / "made-by-start.txt"

    @property
    def stamp(self) -> Path:
        return self.venv / "start.stamp"

    @property
    def libraries(self) -> Path:
        """Says that no library of the system was missing."""
        return self.venv / "start.libraries"

    @property
    def log(self) -> Path:
        return self.venv / "start.log"

    @property
    def wheels(self) -> Path:
        return self.venv / "wheels"

    @property
    def scratch(self) -> Path:
        """For pip's temporary files: /tmp is a small memory disk on some machines."""
        return self.venv / "scratch"

    @property
    def python(self) -> Path:
        windows = ("Scripts", "python.exe")
        return self.venv.joinpath(*(windows if os.name == "nt" else ("bin", "python")))

    @property
    def packages(self) -> Path:
        base = {"base": str(self.venv), "platbase": str(self.venv)}
        return Path(sysconfig.get_path("purelib", "venv", base))

    def lock_files(self, stage: str) -> list[Path]:
        return [self.root / ".locked" / name for name in LOCKS[stage]]


def key(place: Place, stage: str) -> str:
    """A text that changes whenever what is installed for a stage would."""
    digest = hashlib.sha256()
    about = (1, sys.version_info[:2], sys.implementation.name, platform.machine(), sys.base_prefix)
    digest.update(repr(about).encode())
    for path in place.lock_files(stage):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def read_stamp(place: Place) -> dict:
    """The stamp, or an empty one if it does not describe what is there."""
    try:
        stamp = json.loads(place.stamp.read_text(encoding="utf-8"))
        present = set(os.listdir(place.packages))
    except (OSError, ValueError):
        return {}
    if not isinstance(stamp, dict) or not place.python.exists():
        return {}
    # A package deleted since then shows here without the cost of starting a Python.
    return stamp if present.issuperset(stamp.get("entries", [None])) else {}


def is_ready(place: Place, stage: str) -> bool:
    """Whether everything for a stage is installed."""
    return read_stamp(place).get(stage) == key(place, stage)


def write_stamp(place: Place, stages: list[str]) -> None:
    """States that the stages are complete as they are now on the disk."""
    stamp: dict[str, object] = {stage: key(place, stage) for stage in stages}
    stamp["entries"] = sorted(set(os.listdir(place.packages)) - {"__pycache__"})
    write_whole(place.stamp, json.dumps(stamp))


def write_whole(path: Path, text: str) -> None:
    """Writes a file so that afterwards either all of it is there or the old one."""
    new = path.with_name(path.name + ".new")
    with open(new, "w", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    os.replace(new, path)
