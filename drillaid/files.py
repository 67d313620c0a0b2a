"""Files written whole or not at all."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from drillaid.errors import StorageError


def write_whole(path: str | Path, data: bytes | str) -> None:
    """Replaces `path` by `data` (text as UTF-8) in one step, durable when this returns.

    A reader, a crash or a full disk meets the old file or the new one, never
    half of either. A link is followed, the mode of an existing file kept.
    Raises StorageError.
    """
    target = Path(os.path.realpath(path))
    if isinstance(data, str):
        data = data.encode("utf-8")
    try:
        if target.is_dir():
            raise IsADirectoryError(21, "it is a folder")
        handle, name = tempfile.mkstemp(prefix=f".{target.name[:40]}.", dir=target.parent)
    except OSError as error:
        raise _cannot(path, error) from error
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(name, _mode(target))
        os.replace(name, target)
        _sync_folder(target.parent)
    except OSError as error:
        raise _cannot(path, error) from error
    finally:
        with contextlib.suppress(OSError):
            os.unlink(name)  # already gone when all went well


def _cannot(path: str | Path, error: OSError) -> StorageError:
    reason = error.strerror or str(error)
    return StorageError(
        f"{path}: cannot be written ({reason}); choose another place or make room."
    )


def _mode(target: Path) -> int:
    try:
        return target.stat().st_mode & 0o777
    except OSError:
        return 0o644


def _sync_folder(folder: Path) -> None:
    """Makes the new name durable; Windows neither needs nor allows it."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
