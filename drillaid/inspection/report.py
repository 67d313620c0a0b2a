"""One HTML file that is the whole report: pictures inside, no other file, prints on A4.

Written whole or not at all.
"""

from __future__ import annotations

import os
import platform
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from html import escape
from pathlib import Path

import cv2
import numpy as np

from drillaid import __version__
from drillaid.design.model import Design
from drillaid.errors import StorageError
from drillaid.inspection import report_parts as parts
from drillaid.inspection.figures import board_svg, data_url, target_svg
from drillaid.inspection.report_rig import rig_words
from drillaid.inspection.report_style import STYLE
from drillaid.inspection.result import Inspection
from drillaid.registration.result import Registration
from drillaid.rig.rig import Rig


@dataclass(frozen=True)
class BitUse:
    """What one bit did; seconds of the operator's time with it, None if not kept."""

    bit_mm: float
    holes: int
    seconds: float | None = None


@dataclass(frozen=True, eq=False)
class JobNotes:
    """What the journal knows of the job; everything may be left out.

    started, finished: for a person, with the time zone's own clock
    remarks: what went otherwise than planned and what was done about it
    pictures: (caption, uint8 BGR)
    """

    started: str = ""
    finished: str = ""
    seconds: float | None = None
    bits: tuple[BitUse, ...] = ()
    remarks: tuple[str, ...] = ()
    pictures: tuple[tuple[str, np.ndarray], ...] = ()


def write_report(
    path: str | Path,
    *,
    design: Design,
    registration: Registration,
    inspection: Inspection,
    picture: np.ndarray,
    rig: Rig | None = None,
    face: str = "bottom",
    thickness_mm: float = 1.6,
    simulated: bool = False,
    job: JobNotes | None = None,
    bits_mm: Sequence[float] | None = None,
) -> Path:
    """Writes the report and returns where: PDF where the name ends so, else HTML.

    registration: one that succeeded; picture: what was inspected, uint8 BGR
    simulated: says so at the head of the page: simulated bench, invented board
    bits_mm: the bit meant for each hole, for the table of bits
    Raises StorageError when the file cannot be written; then no part of it exists.
    """
    if not registration.ok:
        raise ValueError("a board that was not found has nothing to report")
    if Path(path).suffix.lower() == ".pdf":
        return _write_pdf(
            Path(path), design, registration, inspection, picture, rig, face, thickness_mm,
            simulated, job or JobNotes(), bits_mm,
        )  # fmt: skip
    text = report_html(
        design=design,
        registration=registration,
        inspection=inspection,
        picture=picture,
        rig=rig,
        face=face,
        thickness_mm=thickness_mm,
        simulated=simulated,
        job=job or JobNotes(),
        bits_mm=bits_mm,
    )
    return write_whole(Path(path), text)


def _write_pdf(
    path, design, registration, inspection, picture, rig, face, thickness_mm, simulated, job,
    bits_mm,
) -> Path:  # fmt: skip
    from drillaid import files
    from drillaid.inspection.drawn import drawn_upon
    from drillaid.inspection.report_pdf import report_pages
    from drillaid.paper.pdf import pdf_of

    made = drawn_upon(picture, design, registration.placement, inspection, rig)
    pages = report_pages(
        design, inspection, registration, made, simulated=simulated, face=face,
        thickness_mm=thickness_mm, rig=rig, job=job, bits_mm=bits_mm,
        footer=footer_words(design, job, simulated),
    )  # fmt: skip
    files.write_whole(path, pdf_of(pages, f"{design.name}: drilling report"))
    return path


def write_whole(path: Path, text: str) -> Path:
    """The text under that name, or the old file untouched and StorageError."""
    temporary = None
    try:
        with tempfile.NamedTemporaryFile(
            "w", encoding="utf-8", dir=path.parent, prefix=path.name + ".", delete=False
        ) as file:
            temporary = file.name
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        # a temporary file is its owner's alone; a report is to be handed on
        os.chmod(temporary, 0o644)
        os.replace(temporary, path)
    except OSError as error:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)
        raise StorageError(
            f"{path}: the report could not be written ({error.strerror or error}); "
            "give a folder that exists and has room."
        ) from error
    return path


def report_html(
    *, design, registration, inspection, picture, rig, face, thickness_mm, simulated, job, bits_mm
) -> str:
    """The page as text; arguments as for `write_report`."""
    placement = registration.placement
    marked = parts.worth_a_number(inspection)
    body = [
        parts.header(design, inspection, simulated, face),
        parts.tiles(inspection, placement),
        _section(
            "The board",
            f'<figure>{board_svg(design, inspection, placement, picture, rig, marked)}'
            f"{parts.board_legend(face)}</figure>",
        ),
        _section(
            "How far off, and which way",
            f'<div class="side">{target_svg(inspection)}{parts.spread(inspection)}</div>',
        ),
        _section("Parts", parts.part_table(inspection)),
        _section("Print and position", parts.print_scale(placement)
                 + parts.registration_words(registration, rig, thickness_mm)
                 + _sentences(rig_words(rig, placement, design, thickness_mm))),  # fmt: skip
        _section("Bits", parts.bit_table(design, inspection, job, bits_mm)),
        _remarks(job),
        _pictures(job),
        _section("Every hole", parts.hole_table(inspection)),
        _section("Before you drill again", parts.cautions()),
        _footer(design, inspection, job, simulated),
    ]
    title = escape(f"{design.name}: drilling report")
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n"
        + "\n".join(part for part in body if part)
        + "\n</main>\n</body>\n</html>\n"
    )


def _sentences(words: Sequence[str]) -> str:
    return "".join(f"<p>{escape(each)}</p>" for each in words)


def _section(title: str, inner: str) -> str:
    return f"<section><h2>{escape(title)}</h2>{inner}</section>" if inner else ""


def _remarks(job: JobNotes) -> str:
    items = "".join(f"<li>{escape(text)}</li>" for text in job.remarks)
    return _section("What went otherwise than planned", f"<ul>{items}</ul>") if items else ""


def _pictures(job: JobNotes) -> str:
    figures = []
    for caption, image in job.pictures:
        if image.shape[1] > 900:
            scale = 900 / image.shape[1]
            image = cv2.resize(image, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
        alt = escape(caption, quote=True)
        figures.append(
            f'<figure><img src="{data_url(image, 78)}" alt="{alt}">'
            f"<figcaption>{escape(caption)}</figcaption></figure>"
        )
    return _section("While it was drilled", f'<div class="row">{"".join(figures)}</div>') if (
        figures
    ) else ""


def _footer(design: Design, inspection: Inspection, job: JobNotes, simulated: bool) -> str:
    lines = footer_words(design, job, simulated)
    return "<footer>" + "".join(f"<p>{escape(line)}</p>" for line in lines) + "</footer>"


def footer_words(design: Design, job: JobNotes, simulated: bool) -> list[str]:
    """Times, files and versions, sentences."""
    lines = []
    if simulated:
        lines.append("Simulated bench, invented board: no real board was drilled or measured.")
    if job.started:
        times = f"Started {job.started}" + (f", finished {job.finished}" if job.finished else "")
        lines.append(times + ".")
    if design.files:
        lines.append(f"Design read from {', '.join(design.files)} ({design.units}).")
    now = datetime.now().astimezone().strftime("%Y-%m-%d %H:%M %Z")
    lines.append(
        f"Written {now} by drillaid {__version__} (Python {platform.python_version()}, "
        f"OpenCV {cv2.__version__}, numpy {np.__version__})."
    )
    lines.append(
        "Errors with ± are one sigma: expect two of three within, and nineteen of twenty "
        "within twice as much."
    )
    return lines
