"""Files, folders and zip archives to named pieces of data, within limits.

Archives from strangers may be hostile: sizes are checked as declared and again
while unpacking, nothing is ever written to disk, names that climb out of the
archive and archives in archives are refused.
"""

from __future__ import annotations

import io
import lzma
import os
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from drillaid.errors import DesignError, printable

MAX_FILE_BYTES = 20_000_000
MAX_TOTAL_BYTES = 100_000_000
MAX_FILES = 500
MAX_DEPTH = 4
MAX_RATIO = 200  # text packs 5-20 times; bombs a thousand times and more
_ZIP_MARKS = (b"PK\x03\x04", b"PK\x05\x06")
_SNIFF = 4096
_UNZIP_FAULTS = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    EOFError,
    OSError,
    RuntimeError,  # encrypted, or a method not supported
    ValueError,
    LookupError,
    struct.error,
    OverflowError,
    AttributeError,  # a damaged header can leave zipfile without its own fields
)


@dataclass(frozen=True)
class Piece:
    """One file's content; `named`: the person gave this very file, so it may not be skipped."""

    name: str
    data: bytes
    named: bool = False


def gather(paths: Sequence[str | Path]) -> list[Piece]:
    """Everything that might be part of the design, in the order given (folders: sorted names).

    Raises DesignError for what cannot be read or goes beyond the limits.
    """
    if isinstance(paths, str | os.PathLike):
        paths = [paths]
    pieces: list[Piece] = []
    seen: set[tuple[int, int]] = set()
    for path in map(Path, paths):
        pieces.extend(_from_path(path, seen))
        _check_total(pieces, str(path))
    return pieces


def _from_path(path: Path, seen: set[tuple[int, int]]) -> list[Piece]:
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            return list(_from_folder(path))
        if not stat.S_ISREG(status.st_mode):
            raise DesignError(
                "is not a regular file", file=path, remedy="give a file, a folder or a zip"
            )
        if (status.st_dev, status.st_ino) in seen:
            return []  # given twice
        seen.add((status.st_dev, status.st_ino))
        data = _read(path, status.st_size)
    except (OSError, ValueError) as error:
        raise DesignError(f"cannot be read ({_reason(error)})", file=path, remedy=_remedy(error)) \
            from None  # fmt: skip
    if data[:4] in _ZIP_MARKS:
        return list(unpack(data, path.name))
    return [Piece(printable(path.name), data, named=True)]


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error) or type(error).__name__


def _remedy(error: Exception) -> str:
    if isinstance(error, FileNotFoundError):
        return "check the path"
    if isinstance(error, PermissionError):
        return "change the file's permissions"
    return "copy the file to a local disk and try again"


def _read(path: Path, size: int) -> bytes:
    if size <= MAX_FILE_BYTES:
        with path.open("rb") as file:
            data = file.read(MAX_FILE_BYTES + 1)
        if len(data) <= MAX_FILE_BYTES:
            return data
    raise DesignError(
        f"is larger than {MAX_FILE_BYTES // 1_000_000} MB",
        file=path,
        remedy="give the drill file itself",
    )


def _from_folder(folder: Path) -> Iterable[Piece]:
    """Readable text files of a folder and its subfolders; links to folders are not followed."""
    total = 0
    for path in _walk(folder):
        try:
            status = path.stat()
            if not stat.S_ISREG(status.st_mode) or status.st_size > MAX_FILE_BYTES:
                continue
            with path.open("rb") as file:
                head = file.read(_SNIFF)
                if _is_binary(head):
                    continue
                data = head + file.read(MAX_FILE_BYTES)
        except OSError:
            continue  # a broken link, no permission: not ours to complain about
        total += len(data)
        if total > MAX_TOTAL_BYTES:
            raise _too_much(str(folder))
        yield Piece(printable(str(path.relative_to(folder))), data)


def _walk(folder: Path) -> list[Path]:
    found: list[Path] = []
    for where, folders, files in os.walk(folder, onerror=None, followlinks=False):
        depth = len(Path(where).relative_to(folder).parts)
        folders[:] = sorted(n for n in folders if not _hidden(n)) if depth < MAX_DEPTH else []
        found.extend(Path(where, name) for name in sorted(files) if not _hidden(name))
        if len(found) > MAX_FILES:
            raise DesignError(
                f"holds more than {MAX_FILES} files",
                file=folder,
                remedy="give the folder or the files of this board alone",
            )
    return found


def _hidden(name: str) -> bool:
    return name.startswith((".", "__"))


def _is_binary(head: bytes) -> bool:
    return b"\0" in head and not head.startswith((b"\xff\xfe", b"\xfe\xff"))


def unpack(data: bytes, name: str) -> list[Piece]:
    """Text files of a zip archive, sorted by name. Raises DesignError beyond the limits."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = _members(archive, name)
            return [
                Piece(printable(f"{name}/{info.filename}"), content)
                for info in members
                if not _is_binary((content := _member(archive, info, name))[:_SNIFF])
            ]
    except DesignError:
        raise
    except _UNZIP_FAULTS as error:
        raise DesignError(
            f"is a damaged or encrypted zip ({str(error)[:60] or type(error).__name__})",
            file=name,
            remedy="unpack it yourself and give the folder",
        ) from None


def _members(archive: zipfile.ZipFile, name: str) -> list[zipfile.ZipInfo]:
    infos = archive.infolist()
    if len(infos) > MAX_FILES:
        raise DesignError(
            f"holds more than {MAX_FILES} files", file=name, remedy="pack this board alone"
        )
    kept = []
    for info in sorted(infos, key=lambda info: info.filename):
        parts = info.filename.replace("\\", "/").split("/")
        if parts[0] == "" or ".." in parts or ":" in parts[0]:
            raise DesignError(
                f"holds the path '{info.filename[:60]}', which leads out of the archive",
                file=name,
                remedy="do not use this archive; ask for another",
            )
        link = stat.S_ISLNK(info.external_attr >> 16)
        if not (info.is_dir() or link or any(map(_hidden, parts))):
            kept.append(info)
    if sum(info.file_size for info in kept) > MAX_TOTAL_BYTES:
        raise _too_much(name)
    return kept


def _member(archive: zipfile.ZipFile, info: zipfile.ZipInfo, name: str) -> bytes:
    where = f"{name}/{info.filename}"
    large = info.file_size > 1_000_000
    if large and info.file_size > MAX_RATIO * max(1, info.compress_size):
        raise DesignError(
            "is packed so tightly that it looks like a zip bomb", file=where,
            remedy="unpack it yourself and give the folder",
        )  # fmt: skip
    if info.file_size > MAX_FILE_BYTES:
        return b"\0"  # a picture or a model, no design file
    with archive.open(info) as file:
        content = file.read(info.file_size + 1)
    if len(content) > info.file_size:
        raise DesignError("is larger than its archive says", file=where,
                          remedy="unpack it yourself and give the folder")  # fmt: skip
    if content[:4] in _ZIP_MARKS:
        raise DesignError(
            "is an archive inside the archive", file=where,
            remedy="unpack the outer one and give the inner one",
        )  # fmt: skip
    return content


def _check_total(pieces: list[Piece], name: str) -> None:
    if sum(len(piece.data) for piece in pieces) > MAX_TOTAL_BYTES:
        raise _too_much(name)


def _too_much(name: str) -> DesignError:
    return DesignError(
        f"holds more than {MAX_TOTAL_BYTES // 1_000_000} MB",
        file=name,
        remedy="give the files of this board alone",
    )
