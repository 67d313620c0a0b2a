"""Writes a sheet in the format its file name asks for."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

from calibration.sheet.gerber import gerber_of
from calibration.sheet.pdf import pdf_of
from calibration.sheet.png import png_of
from calibration.sheet.shapes import Sheet
from calibration.sheet.svg import svg_of
from drillaid.errors import StorageError, UsageError
from drillaid.files import write_whole

PRINTED = (".pdf", ".svg", ".png")
ETCHED = (".gbr", ".zip")


def is_etched(path: str | Path) -> bool:
    """Whether the name asks for Gerber: .gbr, .zip, or a folder. UsageError: an unknown format."""
    named = str(path)
    suffix = Path(path).suffix.lower()
    if Path(path).is_dir() or suffix in ETCHED or named.endswith(("/", "\\")):
        return True
    if suffix not in PRINTED:
        raise UsageError(
            f"--out {named} names no format known here",
            remedy=f"let it end in {', '.join(PRINTED)} to print, in .gbr or .zip to etch, or name "
            "a folder (with / at its end) for Gerber and drill list",
        )
    return False


def write_sheet(sheet: Sheet, out: str | Path, *, dpi: float = 600.0) -> list[Path]:
    """The files written, the one to name first. Raises StorageError, UsageError.

    out: .pdf, .svg, .png; .zip or a folder for copper, outline and drill list; .gbr for the
    copper under that name and the others beside it.
    """
    path = Path(out)
    if is_etched(out):
        folder = path.is_dir() or str(out).endswith(("/", "\\"))
        return _write_etched(sheet, path, "" if folder else path.suffix.lower())
    suffix = path.suffix.lower()
    if suffix == ".pdf":
        write_whole(path, pdf_of(sheet))
    elif suffix == ".svg":
        write_whole(path, svg_of(sheet))
    else:
        write_whole(path, png_of(sheet, dpi))
    return [path]


def _write_etched(sheet: Sheet, path: Path, suffix: str) -> list[Path]:
    """suffix: .zip, .gbr, or empty for a folder."""
    if suffix == ".zip":
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, text in gerber_of(sheet, path.stem).items():
                archive.writestr(name, text)
        write_whole(path, packed.getvalue())
        return [path]
    if suffix == ".gbr":
        folder, files = path.parent, gerber_of(sheet, path.stem)
        files = {path.name if "copper" in name else name: text for name, text in files.items()}
    else:
        folder, files = path, gerber_of(sheet, "test-board")
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise StorageError(
                f"{path}: the folder cannot be made ({error.strerror or error}); choose another."
            ) from error
    for name, text in files.items():
        write_whole(folder / name, text)
    written = [folder / name for name in files]
    return written if suffix else [folder, *written]
