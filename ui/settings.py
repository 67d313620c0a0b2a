"""What the window remembers from one day to the next.

Kept in one INI file in the user's configuration folder, beside nothing else; a file
that cannot be written costs the memory, never the work.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, fields, replace
from pathlib import Path

import platformdirs
from PyQt6.QtCore import QSettings

from ui.look.colours import THEMES
from ui.look.style import LARGEST, SMALLEST


@dataclass(frozen=True)
class Settings:
    """theme: "dark" or "light"; type_scale: of all text
    left_handed: the way and the figures on the other side
    volume: 0 … 1, of the guiding beat; beat: whether it sounds at all
    pedal_key: Qt key code that confirms as well as the space bar; 0: none learnt
    hold_s: how long steady on target before it is marked
    camera, rig, face, thickness_mm, bits, tolerance_mm: as last used
    recent: designs opened last, as `recent_designs` reads them
    turn_map: the map lies as the board does
    seen: a hole that is seen to be drilled counts without the pedal; off until it has been
      measured on more boards
    turns: quarter turns of the picture where no rig says how the hand sees it
    rigs: rig files opened last, JSON; squares, square_mm: of the printed test board, as
    drawn; ruler_mm: what its ruler bar measures, 0 if nobody has measured it
    """

    theme: str = "dark"
    type_scale: float = 1.0
    left_handed: bool = False
    volume: float = 0.5
    beat: bool = True
    pedal_key: int = 0
    hold_s: float = 0.25
    camera: str = "sim"
    rig: str = ""
    face: str = "bottom"
    thickness_mm: float = 1.6
    bits: str = ""
    tolerance_mm: float = 0.2
    recent: str = ""
    turn_map: bool = True
    seen: bool = False
    turns: int = 0
    seed: int = 1
    rigs: str = ""
    squares: str = "26x16"
    square_mm: float = 10.0
    ruler_mm: float = 0.0


RECENT = 6


def recent_designs(settings: Settings) -> list[tuple[str, ...]]:
    """The files of each, the newest first."""
    try:
        lists = json.loads(settings.recent or "[]")
        return [tuple(map(str, paths)) for paths in lists if paths and isinstance(paths, list)]
    except (ValueError, TypeError):
        return []


def with_recent(settings: Settings, paths) -> str:
    """What `recent` becomes when these are opened."""
    mine = tuple(map(str, paths))
    others = [known for known in recent_designs(settings) if known != mine]
    return json.dumps([mine, *others][:RECENT], ensure_ascii=False)


def settings_path() -> Path:
    """The file."""
    return Path(platformdirs.user_config_dir("drillaid")) / "window.ini"


def load(path: Path | None = None) -> Settings:
    """As remembered; what is missing or makes no sense is as for a newcomer."""
    store = QSettings(str(path or settings_path()), QSettings.Format.IniFormat)
    settings = Settings()
    for field in fields(Settings):
        value = store.value(field.name)
        if value is not None:
            settings = _with(settings, field.name, value)
    return settings


def save(settings: Settings, path: Path | None = None) -> bool:
    """False where the file could not be written."""
    store = QSettings(str(path or settings_path()), QSettings.Format.IniFormat)
    for field in fields(Settings):
        value = getattr(settings, field.name)
        store.setValue(field.name, str(value) if isinstance(value, float | bool) else value)
    store.sync()
    return store.status() == QSettings.Status.NoError


_LIMITS = {
    "type_scale": (SMALLEST, LARGEST),
    "volume": (0.0, 1.0),
    "hold_s": (0.1, 3.0),
    "thickness_mm": (0.1, 10.0),
    "tolerance_mm": (0.01, 5.0),
    "turns": (0, 3),
    "square_mm": (2.0, 100.0),
    "ruler_mm": (0.0, 200.0),
}
_CHOICES = {"theme": tuple(THEMES), "face": ("bottom", "top")}


def _with(settings: Settings, name: str, text) -> Settings:
    kind = type(getattr(settings, name))
    try:
        value = str(text) in ("True", "true", "1") if kind is bool else kind(text)
    except (TypeError, ValueError):
        return settings
    if name in _CHOICES and value not in _CHOICES[name]:
        return settings
    if name in _LIMITS and not _LIMITS[name][0] <= value <= _LIMITS[name][1]:
        return settings
    return replace(settings, **{name: value})
