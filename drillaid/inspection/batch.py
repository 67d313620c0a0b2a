"""The report over several boards of one design, as HTML or PDF."""

from __future__ import annotations

import math
from collections.abc import Sequence
from html import escape
from pathlib import Path

import numpy as np

from drillaid.errors import UsageError
from drillaid.files import write_whole
from drillaid.inspection.report_style import STYLE
from drillaid.journal.compare import BoardRow, compare, last_measured
from drillaid.journal.journal import Journal
from drillaid.journal.tables import local


def offsets_by_hole(journal: Journal, boards: Sequence[int]) -> dict[int, np.ndarray]:
    """Hole -> (M, 2) mm of drilled minus asked, one row for each board it was measured on."""
    found: dict[int, list] = {}
    for board in boards:
        for hole in last_measured(journal.events(board)).get("holes", []):
            if hole.get("off_mm") is not None:
                found.setdefault(hole["hole"], []).append(hole["off_mm"])
    return {hole: np.array(rows, dtype=float) for hole, rows in sorted(found.items())}


def write_batch(path: str | Path, journal: Journal, boards: Sequence[int]) -> Path:
    """UsageError where the boards are of several designs or none was measured."""
    rows = compare(journal, boards)
    if not any(row.measured for row in rows):
        raise UsageError(
            "none of these boards was photographed after drilling",
            remedy="measure them with records check",
        )
    offsets = offsets_by_hole(journal, boards)
    if Path(path).suffix.lower() == ".pdf":
        from drillaid.inspection.report_pdf import batch_pages
        from drillaid.paper.pdf import pdf_of

        write_whole(path, pdf_of(batch_pages(rows, offsets), f"{rows[0].design}: batch"))
    else:
        write_whole(path, batch_html(rows, offsets))
    return Path(path)


def batch_html(rows: Sequence[BoardRow], offsets: dict[int, np.ndarray]) -> str:
    """The page as text."""
    name = escape(rows[0].design)
    banner = ""
    if any(row.simulated for row in rows):
        banner = '<p class="invented">Simulated bench: no real board was drilled.</p>'
    facts = "".join(f"<li>{escape(fact)}</li>" for fact in batch_facts(rows, offsets))
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        f"<title>{name}: batch</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<main>\n"
        f'<header>{banner}<p class="kind">Batch report</p><h1>{name}</h1>'
        f'<ul class="facts">{facts}</ul></header>'
        f"<section><h2>Board by board</h2>{_board_table(rows)}</section>"
        f"<section><h2>The holes that go astray</h2>{_hole_table(offsets)}</section>"
        "\n</main>\n</body>\n</html>\n"
    )


def batch_facts(rows: Sequence[BoardRow], offsets: dict[int, np.ndarray]) -> list[str]:
    """What the batch says as a whole, sentences."""
    measured = [row for row in rows if row.measured]
    facts = [
        f"{len(rows)} boards, {len(measured)} of them measured; "
        f"{sum(r.done for r in rows)} holes recorded as drilled, {sum(r.skipped for r in rows)} "
        f"put aside, {sum(r.forced for r in rows)} counted without their place being vouched for."
    ]
    every = np.concatenate(list(offsets.values())) if offsets else np.zeros((0, 2))
    if len(every):
        mean, far = every.mean(axis=0), np.hypot(*every.T)
        facts.append(
            f"Over {len(every)} holes: {math.sqrt((far**2).mean()):.3f} mm root mean square, 95 % "
            f"within {np.quantile(far, 0.95):.3f} mm; together {np.hypot(*mean):.3f} mm off "
            f"({mean[0]:+.3f}, {mean[1]:+.3f} in the design's axes)."
        )
    parts = sum(r.parts or 0 for r in measured)
    if parts:
        facts.append(f"{sum(r.parts_fitting or 0 for r in measured)} of {parts} parts go in.")
    minutes = [row.seconds / 60 for row in rows]
    facts.append(f"{np.mean(minutes):.1f} minutes a board ({min(minutes):.1f} to "
                 f"{max(minutes):.1f}).")  # fmt: skip
    return facts


def board_cells(row: BoardRow) -> list[str]:
    """As in BOARD_HEADS."""
    return [
        str(row.board), local(row.begun), f"{row.seconds / 60:.1f}", f"{row.done} of {row.holes}",
        str(row.forced), _mm(row.rms_mm), _mm(row.within_95_mm),
        "" if row.worst_mm is None else f"{row.worst_mm:.3f} (hole {row.worst_hole})",
        "" if not row.parts else f"{row.parts_fitting} of {row.parts}",
    ]  # fmt: skip


BOARD_HEADS = ("Board", "Begun", "Minutes", "Holes done", "Forced", "rms, mm", "95 %, mm",
               "Worst, mm", "Parts in")  # fmt: skip
HOLE_HEADS = ("Hole", "Boards", "Mean x, mm", "Mean y, mm", "Spread, mm", "Furthest, mm")
WORST = 20


def hole_rows(offsets: dict[int, np.ndarray]) -> list[list[str]]:
    """The worst holes over all boards, as in HOLE_HEADS."""
    worst = sorted(offsets, key=lambda hole: -np.hypot(*offsets[hole].mean(axis=0)))[:WORST]
    rows = []
    for hole in worst:
        off = offsets[hole]
        mean = off.mean(axis=0)
        spread = f"{np.sqrt(off.var(axis=0, ddof=1).sum()):.3f}" if len(off) > 1 else ""
        rows.append([str(hole), str(len(off)), f"{mean[0]:+.3f}", f"{mean[1]:+.3f}", spread,
                     f"{np.hypot(*off.T).max():.3f}"])  # fmt: skip
    return rows


def _mm(value: float | None) -> str:
    return "" if value is None else f"{value:.3f}"


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    top = "".join(f"<th class='n'>{escape(head)}</th>" for head in heads)
    body = "".join(
        "<tr>" + "".join(f"<td class='n'>{escape(cell)}</td>" for cell in row) + "</tr>"
        for row in rows
    )
    return (
        f'<div class="scroll"><table><thead><tr>{top}</tr></thead>'
        f"<tbody>{body}</tbody></table></div>"
    )


def _board_table(rows: Sequence[BoardRow]) -> str:
    return _table(BOARD_HEADS, [board_cells(row) for row in rows])


def _hole_table(offsets: dict[int, np.ndarray]) -> str:
    note = (
        "<p class='note'>The mean says what every board has in common (artwork, spindle), the "
        "spread what the hand adds.</p>"
    )
    return _table(HOLE_HEADS, hole_rows(offsets)) + note
