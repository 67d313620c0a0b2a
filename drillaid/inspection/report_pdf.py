"""The report as PDF pages: the same facts as the HTML, drawn by ourselves."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from html import unescape

import cv2
import numpy as np

from drillaid.errors import StorageError
from drillaid.inspection import batch, report_parts
from drillaid.inspection.drawn import Drawn, Mark
from drillaid.inspection.report_rig import rig_words
from drillaid.inspection.result import DRILLED, HIDDEN, UNDRILLED, Inspection, percent
from drillaid.paper.flow import Flow
from drillaid.paper.page import BLACK, GREY, WHITE, Disc, Page, Path, Photo, Words, line

BLUE, VERMILLION, RING = "#0072b2", "#d55e00", "#9aa5ad"


def report_pages(
    design, inspection: Inspection, registration, made: Drawn, *, simulated: bool, face: str,
    thickness_mm: float, rig, job, bits_mm, footer: Sequence[str],
) -> list[Page]:  # fmt: skip
    """Arguments as for `report.report_html`; made: what is drawn upon the photograph;
    footer: times, files and versions, sentences"""
    flow = Flow(f"{design.name}: drilling report")
    if simulated:
        flow.text("Simulated bench, invented board. No real board was drilled.", bold=True)
    flow.text(f"Drilling report, {face} side facing the camera", colour=GREY)
    flow.text(design.name, size=6.4, bold=True)
    flow.text(inspection.message, size=3.8)
    flow.gap(2)
    _board(flow, made, face)
    flow.head("How far off, and which way")
    _target(flow, inspection)
    flow.head("Parts")
    _parts(flow, inspection)
    flow.head("Print and position")
    flow.text(_plain(report_parts.print_scale(registration.placement)))
    flow.text(_plain(report_parts.registration_words(registration, rig, thickness_mm)))
    for words in rig_words(rig, registration.placement, design, thickness_mm):
        flow.text(words)
    flow.head("Bits")
    _bits(flow, design, inspection, job, bits_mm)
    if job.remarks:
        flow.head("What went otherwise than planned")
        for remark in job.remarks:
            flow.text(f"- {remark}")
    flow.head("Every hole")
    _holes(flow, inspection)
    flow.head("Before you drill again")
    for caution in re.findall(r"<li>(.*?)</li>", report_parts.cautions(), re.DOTALL):
        flow.text(f"- {_plain(caution)}")
    flow.gap(3)
    for words in footer:
        flow.text(words, size=2.6, colour=GREY)
    return flow.pages()


def _plain(html: str) -> str:
    return unescape(re.sub(r"<[^>]+>", "", html))


# -- the photograph ------------------------------------------------------------


def _board(flow: Flow, made: Drawn, face: str) -> None:
    height_px, width_px = made.picture.shape[:2]
    scale = min(flow.room_mm / width_px, 130.0 / height_px)
    flow.need(height_px * scale + 14)
    done, data = cv2.imencode(".jpg", made.picture, [cv2.IMWRITE_JPEG_QUALITY, 88])
    if not done:
        raise StorageError("The picture for the report could not be packed.")
    x, y = flow.left_mm, flow.y_mm
    width, height = width_px * scale, height_px * scale
    flow.page.add(
        Photo(data.tobytes(), width_px, height_px, np.array([[width, 0, x], [0, height, y]]))
    )

    def at(place) -> np.ndarray:
        return np.asarray(place, dtype=float) * scale + [x, y]

    for mark in made.marks:
        _mark(flow.page, mark, at, made.px_per_mm * scale)
    bar = 10 * made.px_per_mm * scale
    flow.y_mm = y + height + 4
    flow.page.add(
        line(x, flow.y_mm, x + bar, flow.y_mm, 0.3),
        line(x, flow.y_mm - 1, x, flow.y_mm + 1, 0.3),
        line(x + bar, flow.y_mm - 1, x + bar, flow.y_mm + 1, 0.3),
        Words(x + bar + 3, flow.y_mm + 1, 2.9,
              f"10 mm of board; for the arrows {10 / made.enlarged:g} mm (drawn {made.enlarged} "
              "times too long)"),
    )  # fmt: skip
    flow.y_mm += 4
    way = "bottom side up, so mirrored against the drawing" if face == "bottom" else "top side up"
    flow.text(
        "Arrow: from where the design asks to where the hole is. Second ring: the hole broke out "
        "of its land. Dashed square: not drilled. Cross: not to be seen. As the camera saw it, "
        f"{way}.", size=2.9, colour=GREY,
    )  # fmt: skip


def _mark(page: Page, mark: Mark, at, px_per_mm: float) -> None:
    u, v = at(mark.asked)
    r = 0.7 * px_per_mm
    if mark.state == DRILLED:
        x, y = at(mark.at)
        radius = mark.radius * (at((1.0, 0.0)) - at((0.0, 0.0)))[0]
        page.add(Disc(x, y, radius, None, WHITE, 0.25))
        if mark.broken:
            page.add(Disc(x, y, radius + 0.5, None, VERMILLION, 0.35))
        _arrow(page, np.array([u, v]), at(mark.tip), VERMILLION if mark.broken else BLUE)
    elif mark.state == HIDDEN:
        for colour, width in ((WHITE, 0.7), (BLACK, 0.3)):
            page.add(line(u - r, v - r, u + r, v + r, width, colour),
                     line(u - r, v + r, u + r, v - r, width, colour))  # fmt: skip
    else:
        square = np.array([(u - r, v - r), (u + r, v - r), (u + r, v + r), (u - r, v + r)])
        page.add(Path((square,), True, None, WHITE, 0.7))
        page.add(Path((square,), True, None, BLACK, 0.3, (0.8, 0.5)))
    if mark.numbered:
        for dx, dy in ((-0.2, 0), (0.2, 0), (0, -0.2), (0, 0.2)):
            page.add(Words(u + 1.2 + dx, v - 1.0 + dy, 2.6, str(mark.hole), True, colour=WHITE))
        page.add(Words(u + 1.2, v - 1.0, 2.6, str(mark.hole), True))


def _arrow(page: Page, start: np.ndarray, tip: np.ndarray, colour: str) -> None:
    away = tip - start
    length = float(np.hypot(*away))
    if length < 0.3:
        return
    unit = away / length
    side = np.array([-unit[1], unit[0]])
    head = min(1.3, 0.6 * length)
    neck = tip - head * unit
    point = np.array([tip, neck + 0.42 * head * side, neck - 0.42 * head * side])
    shaft = np.array([start, neck])
    page.add(
        Path((shaft,), False, None, WHITE, 0.9), Path((point,), True, None, WHITE, 0.6),
        Path((shaft,), False, None, colour, 0.45), Path((point,), True, colour, None),
    )  # fmt: skip


# -- figures and tables -----------------------------------------------------------


def _target(flow: Flow, inspection: Inspection) -> None:
    """Every drilled hole's offset round the place asked for, and what it says."""
    size = 62.0
    flow.need(size + 4)
    x, y = flow.left_mm + size / 2, flow.y_mm + size / 2
    scatter(flow.page, [(h.off_mm, bool(h.breakout_deg)) for h in inspection.holes
                        if h.state == DRILLED], inspection.summary.mean_off_mm, (x, y),
            size / 2)  # fmt: skip
    top = flow.y_mm
    flow.column(size + 6)
    for words in re.findall(r"<li>(.*?)</li>", report_parts.spread(inspection), re.DOTALL):
        flow.text(_plain(words))
        flow.gap(1)
    flow.column(0)
    flow.y_mm = max(flow.y_mm, top + size + 2)


def scatter(page: Page, offs, mean, middle, radius: float) -> None:
    """offs: [((dx, dy) mm in design axes, broke out)]; drawn about `middle`, page mm."""
    x, y = middle
    far = max([math.hypot(*off) for off, _ in offs], default=0.1)
    step = next(s for s in (0.05, 0.1, 0.2, 0.5, 1.0, 2.0) if far / s <= 4 or s == 2.0)
    rings = max(2, math.ceil(far / step))
    unit = 0.9 * radius / (rings * step)
    for k in range(rings, 0, -1):
        ring, told = k * step * unit, f"{k * step:g} mm"
        page.add(Disc(x, y, ring, None, RING, 0.15))
        page.add(Words(x + 0.6, y - ring + 2.4, 2.2, told, colour=GREY))
    page.add(line(x - radius, y, x + radius, y, 0.15, RING),
             line(x, y - radius, x, y + radius, 0.15, RING),
             Words(x + radius - 2, y - 1, 2.4, "x", colour=GREY),
             Words(x + 1, y - radius + 1, 2.4, "y", colour=GREY))  # fmt: skip
    for (dx, dy), broken in offs:
        u, v = x + dx * unit, y - dy * unit
        if broken:
            tri = np.array([(u, v - 1.1), (u + 1, v + 0.7), (u - 1, v + 0.7)])
            page.add(Path((tri,), True, VERMILLION, WHITE, 0.1))
        else:
            page.add(Disc(u, v, 0.65, BLUE, WHITE, 0.1))
    if mean is not None:
        u, v = x + mean[0] * unit, y - mean[1] * unit
        for colour, width in ((WHITE, 1.0), (BLACK, 0.45)):
            page.add(line(u - 1.8, v, u + 1.8, v, width, colour),
                     line(u, v - 1.8, u, v + 1.8, width, colour))  # fmt: skip


def _parts(flow: Flow, inspection: Inspection) -> None:
    if not inspection.parts:
        flow.text("The design shows no rows of holes that one stiff part would have to enter.")
        return
    rows = []
    for part in inspection.parts:
        verdict = {True: "+ goes in", False: "x does not go in", None: "? not judged"}[part.fits]
        verdict = "~ too close to call" if part.close else verdict
        words = part.sentence[:1].upper() + part.sentence[1:] + "."
        if part.what_to_do:
            words += f" What to do: {part.what_to_do}"
        holes = f"{part.holes[0]} ... {part.holes[-1]}"
        play = "" if part.play_mm is None else f"{part.play_mm:+.2f} ± {part.play_error_mm:.2f}"
        chance = "" if part.probability is None else percent(part.probability)
        rows.append([verdict, part.part, holes, part.pin.name, play, chance, words])
    flow.table(("Verdict", "Part", "Holes", "Tried with", "Play, mm", "Goes in", "In words"), rows,
               (22, 34, 17, 26, 20, 14, None))  # fmt: skip


def _bits(flow: Flow, design, inspection: Inspection, job, bits_mm) -> None:
    rows = [
        [f"{bit:g}", done, size, "" if s is None else f"{s / 60:.1f} min"]
        for bit, done, size, s in report_parts.bit_rows(design, inspection, job, bits_mm)
    ]
    flow.table(("Bit, mm", "Holes drilled", "Measured, mm: mean (from to)", "Time"), rows,
               (24, 32, 60, 30))  # fmt: skip


def _holes(flow: Flow, inspection: Inspection) -> None:
    def number(value, form: str) -> str:
        return "" if value is None else format(value, form)

    rows = []
    for h in inspection.holes:
        state = {DRILLED: "drilled", UNDRILLED: "NOT DRILLED", HIDDEN: "not seen"}[h.state]
        broken = f"! broke out over {h.breakout_deg:.0f}°" if h.breakout_deg else ""
        note = "; ".join(words for words in (broken, h.reason) if words)
        off = h.off_mm or (None, None)
        rows.append([
            str(h.hole), state, number(h.asked_mm, ".2f"), number(h.diameter_mm, ".2f"),
            number(off[0], "+.3f"), number(off[1], "+.3f"), number(h.distance_mm, ".3f"),
            number(h.expected_error_mm, ".3f"), number(h.ring_mm, ".2f"), note,
        ])  # fmt: skip
    flow.table(("Hole", "State", "Asked", "Is, mm", "x off", "y off", "Off, mm", "±", "Ring",
                "Note"), rows, (12, 24, 14, 14, 15, 15, 15, 13, 13, None))  # fmt: skip


def batch_pages(rows, offsets: dict[int, np.ndarray]) -> list[Page]:
    """The batch report, as `batch.batch_html` says it."""
    flow = Flow(f"{rows[0].design}: batch report")
    if any(row.simulated for row in rows):
        flow.text("Simulated bench: no real board was drilled.", bold=True)
    flow.text("Batch report", colour=GREY)
    flow.text(rows[0].design, size=6.4, bold=True)
    for fact in batch.batch_facts(rows, offsets):
        flow.text(fact)
    flow.head("Board by board")
    flow.table(batch.BOARD_HEADS, [batch.board_cells(row) for row in rows],
               (14, 30, 18, 22, 16, 18, 18, 32, None))  # fmt: skip
    flow.head("Every hole of every board")
    size = 70.0
    flow.need(size + 4)
    every = [(tuple(off), False) for found in offsets.values() for off in found]
    mean = tuple(np.mean([off for off, _ in every], axis=0)) if every else None
    scatter(flow.page, every, mean, (flow.left_mm + size / 2, flow.y_mm + size / 2), size / 2)
    flow.y_mm += size + 3
    flow.head("The holes that go astray")
    flow.table(batch.HOLE_HEADS, batch.hole_rows(offsets), (16, 20, 30, 30, 30, 30))
    return flow.pages()
