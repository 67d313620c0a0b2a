"""What was read of a board, in words and small tables, for a label that shows rich text."""

from __future__ import annotations

from collections import Counter
from html import escape

from drillaid.design.bits import UNPLATED_RING_MM
from drillaid.guidance.job import Job
from ui.words import bit, mm, number, tr


def headline(job: Job) -> str:
    """How many holes, how large."""
    facts = [tr("{n} holes", n=len(job.design.holes))]
    if job.design.outline is not None:
        width, height = job.design.outline.size_mm
        facts.append(tr("{w} × {h} mm", w=number(width, 1), h=number(height, 1)))
    if job.design.units:
        facts.append(job.design.units)
    return ", ".join(facts)


def facts_html(job: Job, quiet: str, line: str) -> str:
    """Warnings first, then bits, parts and files. quiet, line: colours."""
    parts = [_warnings(job), _bits(job, quiet, line), _parts(job, quiet), _files(job, quiet)]
    return "".join(part for part in parts if part)


def _title(words: str) -> str:
    return f"<p style='margin:12px 0 2px 0'><b>{escape(words)}</b></p>"


def _warnings(job: Job) -> str:
    if not job.warnings:
        return ""
    items = "".join(f"<p style='margin:2px 0'>▲ {escape(w)}</p>" for w in job.warnings)
    return _title(tr("Look at this first")) + items


def _bits(job: Job, quiet: str, line: str) -> str:
    rings: dict[float, list[float]] = {}
    for choice in job.choices:
        if choice.ring_mm is not None:
            rings.setdefault(choice.bit_mm, []).append(choice.ring_mm)
    rows = [_row((tr("bit"), tr("holes"), tr("ring left")), f"color:{quiet}")]
    for size, count in job.bit_counts:
        mine = rings.get(size)
        ring = "" if mine is None else mm(max(min(mine), 0.0))
        if mine is not None and min(mine) < UNPLATED_RING_MM - 1e-6:
            ring = f"▲ {ring}"
        rows.append(_row((bit(size), str(count), ring)))
    edge = f"style='border-bottom:1px solid {line}'"
    table = f"<table cellpadding='2' cellspacing='0' {edge}>{''.join(rows)}</table>"
    return _title(tr("Bits, in the order of drilling")) + table


def _row(cells, style: str = "") -> str:
    made = "".join(
        f"<td align='right' style='{style}'>{escape(c).replace(' ', '&nbsp;')}&nbsp;&nbsp;</td>"
        for c in cells
    )
    return f"<tr>{made}</tr>"


def _parts(job: Job, quiet: str) -> str:
    if not job.parts:
        return ""
    counts = Counter(part.name for part in job.parts)
    items = "".join(
        f"<p style='margin:1px 0'>{n} × {escape(name)}</p>" for name, n in counts.items()
    )
    note = tr("rows of holes that one stiff part must enter")
    return _title(tr("Parts")) + f"<p style='margin:0; color:{quiet}'>{note}</p>{items}"


def _files(job: Job, quiet: str) -> str:
    files = ", ".join(map(escape, job.design.files))
    return _title(tr("Read from")) + f"<p style='margin:0; color:{quiet}'>{files}</p>"
