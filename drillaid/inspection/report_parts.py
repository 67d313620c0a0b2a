"""The report's tables and sentences, each an HTML fragment. Everything from outside is escaped."""

from __future__ import annotations

import math
from html import escape

import numpy as np

from drillaid.design.model import Design
from drillaid.inspection.figures import BLUE, VERMILLION
from drillaid.inspection.learning import Drilled, common_offset
from drillaid.inspection.remedy import CAUTION
from drillaid.inspection.result import DRILLED, HIDDEN, UNDRILLED, Inspection, percent
from drillaid.registration.result import Placement, Registration

THIN_RING_MM = 0.15  # least ring of an unplated hole: IPC-2221, from memory
NUMBERED = 5  # of the worst holes


VERDICTS = {True: "✓ goes in", False: "✗ does not go in", None: "? not judged"}


def worth_a_number(inspection: Inspection) -> set[int]:
    """Holes a reader will look for: broken out, missing, of another bit, spoiling a part, the worst few."""
    numbers = {h.hole for h in inspection.holes if h.state != DRILLED or h.breakout_deg or h.reason}
    numbers |= {p.tightest_hole for p in inspection.parts if p.fits is False}
    for part in inspection.parts:
        numbers |= {part.holes[0], part.holes[-1]}
        if part.remedy is not None:
            numbers |= {opening.hole for opening in part.remedy.openings}
    far = sorted((h for h in inspection.holes if h.distance_mm), key=lambda h: -h.distance_mm)
    return numbers | {h.hole for h in far[:NUMBERED]}


def header(design: Design, inspection: Inspection, simulated: bool, face: str) -> str:
    """What board, simulated or not, and the verdict in one sentence."""
    banner = ""
    if simulated:
        banner = '<p class="invented">Simulated bench, invented board. No real board was drilled.</p>'
    return (
        f'<header>{banner}<p class="kind">Drilling report, {face} side facing the camera</p>'
        f"<h1>{escape(design.name)}</h1>"
        f'<p class="verdict">{escape(inspection.message)}</p></header>'
    )


def tiles(inspection: Inspection, placement: Placement) -> str:
    """The four figures a reader wants first."""
    s = inspection.summary
    rest = []
    if s.undrilled:
        rest.append(f"{s.undrilled} not drilled")
    if s.hidden:
        rest.append(f"{s.hidden} not to be seen")
    cells = [_tile("Holes drilled", f"{s.drilled} of {s.holes}", ", ".join(rest) or "none missing",
                   bool(rest))]  # fmt: skip
    if s.drilled:
        cells.append(
            _tile("95 % of holes within", f"{s.within_95_mm:.2f} mm",
                  f"worst: hole {s.worst_hole}, {s.worst_mm:.2f} mm", False)  # fmt: skip
        )
    if s.narrowest_ring_mm is not None:
        words = f"{s.broken_out} broke out of the land" if s.broken_out else "no hole broke out"
        cells.append(
            _tile("Narrowest copper ring",
                  f"{s.narrowest_ring_mm:.2f} mm" if s.narrowest_ring_mm > 0 else "none left", words,
                  bool(s.broken_out))  # fmt: skip
        )
    if s.parts:
        failing = s.parts - s.parts_fitting - s.parts_unknown
        words = [f"{failing} not"] if failing else []
        words += [f"{s.parts_unknown} not to be judged"] if s.parts_unknown else []
        words += [f"{s.close_calls} too close to call"] if s.close_calls else []
        cells.append(_tile("Parts that go in", f"{s.parts_fitting} of {s.parts}",
                           ", ".join(words) or "all", bool(failing)))  # fmt: skip
    else:
        cells.append(_tile("Print size", _percent(placement), "against the design", False))
    return f'<dl class="tiles">{"".join(cells)}</dl>'


def _tile(name: str, value: str, more: str, bad: bool) -> str:
    mark = ' class="bad"' if bad else ""
    return f"<div{mark}><dt>{name}</dt><dd>{escape(value)}<small>{escape(more)}</small></dd></div>"


def board_legend(face: str) -> str:
    """What the marks on the photograph mean, and which way round it is."""
    def icon(shape: str, words: str) -> str:
        return f'<li><svg viewBox="0 0 24 18">{shape}</svg>{words}</li>'

    arrow = f'<path d="M3 14L16 5" stroke="{BLUE}" stroke-width="2.4"/><path d="M21 2l-3 7-4-5z" fill="{BLUE}"/>'
    broken = (
        f'<circle cx="12" cy="9" r="7" fill="none" stroke="{VERMILLION}" stroke-width="2.4"/>'
        '<circle cx="12" cy="9" r="3.4" fill="none" stroke="#777" stroke-width="1.4"/>'
    )
    square = (
        '<rect x="5" y="2" width="14" height="14" fill="none" stroke="#000" stroke-width="1.8" '
        'stroke-dasharray="3.5 2"/>'
    )
    cross = '<path d="M5 2l14 14M5 16L19 2" stroke="#000" stroke-width="2.2"/>'
    side = "bottom side up, so mirrored against the drawing" if face == "bottom" else "top side up"
    return (
        '<ul class="legend">'
        + icon(arrow, "from where the design asks to where the hole is")
        + icon(broken, "hole broke out of its land")
        + icon(square, "not drilled")
        + icon(cross, "not to be seen")
        + f"</ul><p class='note'>As the camera saw it, {side}. "
        "Numbers stand at the worst holes, at everything that needs a look, and at the first and "
        "last hole of each part.</p>"
    )


def spread(inspection: Inspection) -> str:
    """The offsets in words: common or each for itself, and how well they are known."""
    s = inspection.summary
    if not s.drilled:
        return "<p>No hole was drilled yet.</p>"
    x, y = s.mean_off_mm
    drift = math.hypot(x, y)
    error = np.median([h.expected_error_mm for h in inspection.holes if h.state == DRILLED])
    facts = [
        f"On average the holes lie {drift:.3f} mm off together ({_way(x, y)}, as on the drawing).",
        f"Each for itself: {s.rms_mm:.3f} mm root mean square, 95 % within {s.within_95_mm:.3f} mm.",
        f"Each offset is known to about ±{error:.3f} mm, as one sigma.",
    ]
    if (offset := _common(inspection)) is not None:
        facts.append(
            f"That is more than chance explains ({percent(offset.chance)} by chance alone): if it "
            "is so on other boards too, drillaid records offset corrects the spindle's place."
            if offset.systematic
            else "No common offset stands out: what remains is the hand, the bit and the clamp."
        )
    items = "".join(f"<li>{fact}</li>" for fact in facts)
    return (
        f'<div><ul class="facts">{items}</ul><p class="note">One point for each drilled hole, '
        "the middle is where the design asks for it; x to the right and y up as on the drawing. "
        "The black cross is the mean. A triangle is a hole that broke out of its land.</p></div>"
    )


def _common(inspection: Inspection):
    """What the holes of this board alone say of a common offset, design axes."""
    holes = [
        Drilled(0, h.hole, 0.0, h.asked_mm, h.off_mm, h.centre_error_mm or 0.0,
                math.sqrt(max(h.expected_error_mm**2 - (h.centre_error_mm or 0.0) ** 2, 0.0)))
        for h in inspection.holes
        if h.state == DRILLED
    ]  # fmt: skip
    return common_offset(holes)


def _way(x: float, y: float) -> str:
    return f"{abs(x):.3f} mm {'right' if x >= 0 else 'left'}, {abs(y):.3f} mm {'up' if y >= 0 else 'down'}"


def part_table(inspection: Inspection) -> str:
    """A verdict for each part; the sign, the mark and the words say the same."""
    if not inspection.parts:
        return "<p>The design shows no rows of holes that one stiff part would have to enter.</p>"
    rows = []
    for p in inspection.parts:
        verdict = "≈ too close to call" if p.close else VERDICTS[p.fits]
        kind = {True: "", False: ' class="bad"', None: ' class="open"'}[None if p.close else p.fits]
        play = "" if p.play_mm is None else f"{p.play_mm:+.2f} ± {p.play_error_mm:.2f}"
        chance = "" if p.probability is None else percent(p.probability)
        todo = f" <b>{escape(_sentence_case(p.what_to_do))}</b>" if p.what_to_do else ""
        rows.append(
            f"<tr{kind}><td class='w'>{verdict}</td><td>{escape(p.part)}</td>"
            f"<td class='w'>{_ranges(p.holes)}</td>"
            f"<td>{escape(p.pin.name)}</td><td class='n'>{play}</td>"
            f"<td class='n'>{chance}</td><td>{escape(_sentence_case(p.sentence))}{todo}</td></tr>"
        )
    note = (
        "Play is how far the part may still move in its tightest place; a minus says by how much "
        "it misses. Square and flat pins count by their corners, and all pins of a part move "
        "together. Unless they were named, the pins are those in common use at that pitch: if "
        "yours are thicker, inspect again and name them with --pin."
    )
    if any(p.remedy is not None and p.remedy.saves for p in inspection.parts):
        note += f" {CAUTION}"
    if not inspection.true_scale:
        note += " Without a rig file sizes rest on the print having its design size."
    return (
        '<div class="scroll"><table><thead><tr><th>Verdict</th><th>Part</th><th>Holes</th>'
        "<th>Tried with</th><th class='n'>Play, mm</th><th class='n'>Goes in with</th>"
        "<th>In words, and what to do</th></tr></thead>"
        f'<tbody>{"".join(rows)}</tbody></table></div><p class="note">{note}</p>'
    )


def _sentence_case(text: str) -> str:
    return text[:1].upper() + text[1:] + "."


def _ranges(numbers) -> str:
    """ "1–4, 7": runs of three or more drawn together."""
    out, run = [], []
    for n in [*sorted(numbers), None]:
        if run and n == run[-1] + 1 if n is not None else False:
            run.append(n)
            continue
        if run:
            out.append(f"{run[0]}–{run[-1]}" if len(run) > 2 else ", ".join(map(str, run)))
        run = [n]
    return ", ".join(out)


def _percent(placement: Placement) -> str:
    if placement.matrix is None:
        return "not known"
    return " / ".join(f"{100 * s:.2f} %" for s in placement.matrix.scale)


def print_scale(placement: Placement) -> str:
    """How large the print came out, as lengths a person can measure."""
    if placement.matrix is None:
        return "<p>Without a rig file the size of the print is not known.</p>"
    words = []
    for axis, scale in zip(("x", "y"), placement.matrix.scale, strict=True):
        change = 100 * (scale - 1)
        size = "to size" if abs(change) < 0.02 else (
            f"{abs(change):.2f} % too {'large' if change > 0 else 'small'}")  # fmt: skip
        words.append(
            f"along the drawing's {axis} axis the copper is {size} "
            f"(100 mm on the drawing are {100 * scale:.2f} mm on the board)"
        )
    text = f"Print: {words[0]}; {words[1]}."
    worst = max(abs(s - 1) for s in placement.matrix.scale)
    if worst > 0.0015:
        text += (
            f" Over a row 50 mm long that is {50 * worst:.2f} mm: "
            "print the artwork again to size where long rows matter."
        )
    return f"<p>{text}</p>"


def registration_words(registration: Registration, rig, thickness_mm: float) -> str:
    """How well the board's position is known."""
    p = registration.placement
    error = p.expected_error_mm[np.isfinite(p.expected_error_mm)]
    typical = f"{np.median(error):.3f} mm, at worst {error.max():.3f} mm" if len(error) else "unknown"
    basis = (
        f"With the rig file, upper face {thickness_mm:g} mm above the bench."
        if rig is not None
        else "Without a rig file: offsets are in the drawing's millimetres."
    )
    return (
        f"<p>Position: {escape(registration.message)} What is left over is {p.residual_rms_mm:.3f} mm "
        f"root mean square ({escape(p.model)} fit). Expected error of a hole's asked-for place: "
        f"{typical}. {basis}</p>"
    )


def bit_rows(design: Design, inspection: Inspection, job, bits_mm) -> list[tuple]:
    """By bit: (bit mm, "holes done of all", "diameters they have", seconds or None)."""
    bits = design.drill_mm if bits_mm is None else bits_mm
    used = {round(use.bit_mm, 3): use for use in job.bits}
    groups: dict[float, list] = {}
    for bit, finding in zip(bits, inspection.holes, strict=True):
        groups.setdefault(round(float(bit), 3), []).append(finding)
    rows = []
    for bit, members in sorted(groups.items()):
        sizes = [h.diameter_mm for h in members if h.diameter_mm is not None]
        size = f"{np.mean(sizes):.2f} ({min(sizes):.2f} to {max(sizes):.2f})" if sizes else ""
        use = used.get(bit)
        done = sum(h.state == DRILLED for h in members)
        rows.append((bit, f"{done} of {len(members)}", size, None if use is None else use.seconds))
    return rows


def bit_table(design: Design, inspection: Inspection, job, bits_mm) -> str:
    """The same as a table, with the operator's time if it was kept."""
    rows = [
        f"<tr><td class='n'>{bit:g}</td><td class='n'>{done}</td>"
        f"<td class='n'>{size}</td><td class='n'>{'' if s is None else _time(s)}</td></tr>"
        for bit, done, size, s in bit_rows(design, inspection, job, bits_mm)
    ]
    total = f"<p>The whole job took {_time(job.seconds)}.</p>" if job.seconds else ""
    return (
        "<table><thead><tr><th class='n'>Bit, mm</th><th class='n'>Holes drilled</th>"
        "<th class='n'>Measured diameter, mm: mean (from to)</th><th class='n'>Time</th></tr></thead>"
        f"<tbody>{''.join(rows)}</tbody></table>{total}"
    )


def _time(seconds: float) -> str:
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes} min {rest:02d} s" if minutes else f"{rest} s"


def hole_table(inspection: Inspection) -> str:
    """Every hole of the design, in its order."""
    rows = []
    for h in inspection.holes:
        kind = ' class="bad"' if h.breakout_deg else (' class="open"' if h.state != DRILLED else "")
        rows.append(f"<tr{kind}>{''.join(_hole_cells(h))}</tr>")
    heads = ("Hole", "State", "Asked, mm", "Measured, mm", "x off, mm", "y off, mm",
             "Distance, mm", "±, mm", "Ring left, mm", "Note")  # fmt: skip
    top = "".join(
        f"<th{' class=n' if name not in ('State', 'Note') else ''}>{name}</th>" for name in heads
    )
    return (
        f'<div class="scroll"><table><thead><tr>{top}</tr></thead>'
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )


def _hole_cells(h) -> list[str]:
    def number(value, form: str) -> str:
        return f"<td class='n'>{'' if value is None else format(value, form)}</td>"

    words = {DRILLED: "drilled", UNDRILLED: "☐ not drilled", HIDDEN: "✗ not to be seen"}[h.state]
    note = h.reason
    if h.breakout_deg:
        broken = f"▲ broke out over {h.breakout_deg:.0f}° of its rim"
        note = "; ".join(word for word in (broken, note) if word)
    elif h.ring_mm is not None and h.ring_mm < THIN_RING_MM:
        note = "; ".join(word for word in (note, "thin ring") if word)
    off = h.off_mm or (None, None)
    return [
        f"<td class='n'>{h.hole}</td>",
        f"<td class='w'>{words}</td>",
        number(h.asked_mm, ".2f"),
        number(h.diameter_mm, ".2f"),
        number(off[0], "+.3f"),
        number(off[1], "+.3f"),
        number(h.distance_mm, ".3f"),
        number(h.expected_error_mm, ".3f"),
        number(h.ring_mm, ".2f"),
        f"<td>{escape(note)}</td>",
    ]


def cautions() -> str:
    """What the guidance says before work, once more on paper."""
    from drillaid.guidance.cautions import before_work

    items = "".join(f"<li>{escape(str(caution))}</li>" for caution in before_work())
    return f'<ul class="cautions">{items}</ul>'
