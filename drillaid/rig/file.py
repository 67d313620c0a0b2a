"""The rig file: TOML, "drillaid-rig/1".

What we do not know survives a load and a save, comments and order included:
the text is kept beside the values and edited, not written anew. Reading is the
standard library's `tomllib`; only saving needs `tomlkit`.
"""

from __future__ import annotations

import contextlib
import copy
import re
import tomllib
from pathlib import Path

from drillaid.errors import RigError
from drillaid.files import write_whole
from drillaid.rig.limits import FORMAT, check_values
from drillaid.rig.rig import Rig

MAX_BYTES = 1_000_000

# key in the file -> field of Rig
_FIELDS = {
    ("camera", "width"): "width",
    ("camera", "height"): "height",
    ("camera", "matrix"): "matrix",
    ("camera", "distortion"): "distortion",
    ("bench", "rotation_vector"): "rotation_vector",
    ("bench", "translation_mm"): "translation_mm",
    ("spindle", "axis_mm"): "axis_mm",
    ("spindle", "lean"): "lean",
}


def load_rig(path: str | Path) -> Rig:
    """Reads and checks a rig file.

    [spindle] and its keys may be absent (axis_mm None, lean 0), so may every
    key that is not in the contract. Raises RigError with the key and its line.
    """
    data, text = read_rig_data(path)
    with told_of(path, text):
        check_values(data)
    return rig_of(data, text)


def save_rig(rig: Rig, path: str | Path) -> None:
    """Writes a rig file whole or not at all.

    A rig that `load_rig` would refuse is refused here (RigError); a disk that
    fails is a StorageError.
    """
    data = _data_of(rig)
    with told_of(path):
        check_values(data)
        text = rig_text(data, rig.text)
    write_whole(path, text)


def text_of(rig: Rig) -> str:
    """What `save_rig` would write, unchecked."""
    return rig_text(_data_of(rig), rig.text)


def rig_from_text(text: str, name: str = "rig file") -> Rig:
    """The inverse of `text_of`. Raises RigError."""
    try:
        data = tomllib.loads(text)
    except ValueError as error:
        raise RigError(f"is not TOML: {_first_words(error)}", file=name) from None
    with told_of(name, text):
        check_values(data)
    return rig_of(data, text)


def read_rig_data(path: str | Path) -> tuple[dict, str]:
    """(what the file says, its text), values not yet checked. Raises RigError."""
    text = _read_text(path)
    try:
        return tomllib.loads(text), text
    except RecursionError:
        raise RigError("is nested too deeply for a rig file", file=path) from None
    except ValueError as error:  # TOMLDecodeError and numbers too long to read
        line = re.search(r"at line (\d+)", str(error))
        raise RigError(
            f"is not TOML: {_first_words(error)}",
            file=path,
            line=int(line.group(1)) if line else None,
            remedy="correct the line or calibrate the rig again",
        ) from None


@contextlib.contextmanager
def told_of(path: str | Path, text: str = ""):
    """A RigError from within leaves with the file's name and, where it stands in text, the line."""
    try:
        yield
    except RigError as error:
        line = _line_of(text, getattr(error, "key", ""))
        raise RigError(error.what, file=path, line=line, remedy=error.remedy) from None


def rig_text(data: dict, text: str = "") -> str:
    """What the file shall say: `text` with the values of data put in, or written anew.

    RigError where data holds something that TOML cannot.
    """
    return (_edited(text, data) if text else None) or _written(data)


def _read_text(path: str | Path) -> str:
    remedy = "give a rig file made by drillaid calibrate"
    try:
        with open(path, "rb") as file:
            raw = file.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise RigError("there is no such file", file=path, remedy=remedy) from None
    except IsADirectoryError:
        raise RigError("is a folder", file=path, remedy=remedy) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a file name"
        raise RigError(f"cannot be read ({reason})", file=path, remedy=remedy) from None
    if len(raw) > MAX_BYTES:
        raise RigError(f"is larger than {MAX_BYTES:,} bytes", file=path, remedy=remedy)
    try:
        return raw.decode("utf-8-sig")  # some editors put a mark in front
    except UnicodeDecodeError:
        raise RigError("is not text in UTF-8", file=path, remedy=remedy) from None


def _first_words(error: Exception) -> str:
    """The reader's reason without its place, in one printable line."""
    words = re.sub(r"\s*\((at|and) .*\)\s*$", "", str(error), flags=re.DOTALL)
    words = "".join(c if c.isprintable() else " " for c in words).strip(" .")
    return (words[:1].lower() + words[1:])[:120] or "it cannot be read"


def _line_of(text: str, key: str) -> int | None:
    """The line where "section.key" stands, as far as a plain look tells."""
    section, _, name = key.rpartition(".")
    here = ""
    found = []
    for number, line in enumerate(text.splitlines(), start=1):
        if header := re.match(r"\s*\[\s*([\w.\-]+)\s*\]", line):
            here = header.group(1)
            if key == here:
                found.append(number)
        elif name and here == section and re.match(rf'\s*"?{re.escape(name)}"?\s*=', line):
            found.append(number)
    return found[0] if len(found) == 1 else None


def rig_of(data: dict, text: str = "") -> Rig:
    """The rig that checked data describe."""
    extra = copy.deepcopy(data)
    extra.pop("format")
    fields = {}
    for (section, key), field in _FIELDS.items():
        if key in extra.get(section, {}):
            fields[field] = extra[section].pop(key)
    extra = {key: value for key, value in extra.items() if value != {} or key not in _sections()}
    return Rig(**fields, extra=extra, text=text)


def _sections() -> set[str]:
    return {section for section, _ in _FIELDS}


def _data_of(rig: Rig) -> dict:
    """What the file shall say, plain values only, in the order of the contract."""
    data: dict = {"format": FORMAT}
    extra = copy.deepcopy(rig.extra)
    for key, value in extra.items():
        if not isinstance(value, dict):
            data.setdefault(key, value)
    for (section, key), field in _FIELDS.items():
        value = getattr(rig, field)
        if value is None or (field == "lean" and rig.axis_mm is None and not value.any()):
            continue
        value = value.tolist() if hasattr(value, "tolist") else value
        data.setdefault(section, {})[key] = value
    for key, value in extra.items():
        if isinstance(value, dict):
            data[key] = value | data.get(key, {})  # the rig's own fields win
    return data


def _written(data: dict) -> str:
    import tomlkit

    try:
        text = tomlkit.dumps(data)
        if _same(tomllib.loads(text), data):
            return text
    except (TypeError, ValueError, AttributeError) as error:
        reason = str(error)
    else:
        reason = "the values come back changed"
    raise RigError(f"extra holds something a rig file cannot ({reason})")


def _edited(text: str, data: dict) -> str | None:
    """The text with the new values put in; None if that does not come out right.

    The result is read back and compared, so a slip of the editor costs the
    comments, never a value.
    """
    import tomlkit

    try:
        document = tomlkit.parse(text)
        _merge(document, data)
        edited = tomlkit.dumps(document)
        return edited if _same(tomllib.loads(edited), data) else None
    except Exception:  # noqa: BLE001 - whatever it is, `_written` does it plainly
        return None


def _merge(document, data: dict) -> None:
    for key in [key for key in document if key not in data]:
        del document[key]
    for key, value in data.items():
        if key in document:
            old = document[key]
            if isinstance(old, dict) and isinstance(value, dict):
                _merge(old, value)
                continue
            if _same(getattr(old, "unwrap", lambda old=old: old)(), value):
                continue
        document[key] = value


def _same(a, b) -> bool:
    """Equal in value and type all the way down; NaN equals NaN."""
    if isinstance(a, dict) and isinstance(b, dict):
        return a.keys() == b.keys() and all(_same(a[key], b[key]) for key in a)
    if isinstance(a, list) and isinstance(b, (list, tuple)):
        return len(a) == len(b) and all(map(_same, a, b))
    if isinstance(a, float) and isinstance(b, float):
        return a == b or (a != a and b != b)
    return type(a) is type(b) and a == b
