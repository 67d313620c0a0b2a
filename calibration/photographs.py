"""Photographs named on the command line: files and folders, looked at one by one."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path

from calibration.lens import Photo
from calibration.pattern import Pattern
from calibration.views import find_pattern
from drillaid.errors import PictureError
from drillaid.rig.pictures import is_picture, read_picture

MOST = 200


def listed_photographs(names: Sequence[str | Path]) -> list[Path]:
    """The files, and all pictures of the folders in the order of their numbers, each once.

    Raises PictureError for what is not there, is no picture, or a folder without any.
    """
    out: dict[Path, None] = {}
    for name in map(Path, names):
        if name.is_dir():
            inside = sorted((f for f in name.iterdir() if f.is_file()), key=_natural)
            pictures = [file for file in inside if is_picture(file)]
            if not pictures:
                what = "is an empty folder" if not inside else "holds no picture that can be read"
                raise PictureError(
                    what, file=name, remedy="give a folder with photographs of the printed sheet"
                )
            out.update(dict.fromkeys(pictures))
        else:
            out[name] = None
    if len(out) > MOST:
        raise PictureError(
            f"there are {len(out)} photographs, more than {MOST}",
            remedy="give the sharpest 12 to 30 of them",
        )
    return list(out)


def look_at(
    files: Sequence[Path], pattern: Pattern, tell: Callable[[str], None] | None = None
) -> list[Photo]:
    """Finds the pattern in every file. Raises PictureError for one that cannot be read."""
    out = []
    for count, file in enumerate(files, start=1):
        image = read_picture(file)
        out.append(Photo(str(file), (image.shape[1], image.shape[0]), find_pattern(image, pattern)))
        if tell is not None:
            found = out[-1].found
            said = getattr(found, "reason", None) or f"{len(found)} corners"
            tell(f"{count} of {len(files)}: {file.name}: {said}")
    return out


def _natural(path: Path) -> list:
    """Sorts "9.jpg" before "10.jpg"."""
    parts = re.split(r"(\d+)", path.name.lower())
    return [(0, int(part), "") if part.isdigit() else (1, 0, part) for part in parts]
