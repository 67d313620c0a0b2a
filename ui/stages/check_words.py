"""A check in words, as rich text: parts with their verdicts, holes worth a look."""

from __future__ import annotations

from html import escape

from drillaid.inspection.report_parts import THIN_RING_MM
from drillaid.inspection.result import DRILLED, HIDDEN, UNDRILLED, Inspection
from ui.words import mm, tr

SHOWN = 25
LINK = "hole:"


def check_html(inspection: Inspection, quiet: str, link: str) -> str:
    """quiet, link: colours. Holes are links "hole:N"."""
    return _parts(inspection, quiet, link) + _holes(inspection, quiet, link)


def _title(words: str) -> str:
    return f"<p style='margin:12px 0 2px 0'><b>{escape(words)}</b></p>"


def _parts(inspection: Inspection, quiet: str, link: str) -> str:
    if not inspection.parts:
        return ""
    order = {False: 0, None: 1, True: 2}
    rows = []
    for part in sorted(inspection.parts, key=lambda p: order[p.fits]):
        sign = "≈" if part.close else {True: "✓", False: "✗", None: "?"}[part.fits]
        at = _hole(part.holes[0], link)
        words = f"<b>{sign} {escape(part.part)}</b> ({tr('from hole')} {at})<br>"
        words += escape(part.sentence[:1].upper() + part.sentence[1:]) + "."
        if part.what_to_do:
            words += f"<br>→ {escape(part.what_to_do)}"
        rows.append(f"<p style='margin:4px 0'>{words}</p>")
    return _title(tr("Will the parts go in?")) + "".join(rows)


def _holes(inspection: Inspection, quiet: str, link: str) -> str:
    rows = [(hole, words) for hole in inspection.holes if (words := _worth(hole))]
    if not rows:
        return _title(tr("Holes")) + f"<p style='margin:0'>✓ {tr('None needs a second look.')}</p>"
    lines = [
        f"<p style='margin:2px 0'>{_hole(hole.hole, link)}: {escape(words)}</p>"
        for hole, words in rows[:SHOWN]
    ]
    if len(rows) > SHOWN:
        more = tr("and {n} more; the report has them all", n=len(rows) - SHOWN)
        lines.append(f"<p style='margin:2px 0; color:{quiet}'>{more}</p>")
    return _title(tr("Holes to look at")) + "".join(lines)


def _hole(number: int, link: str) -> str:
    return f"<a href='{LINK}{number}' style='color:{link}'>{number}</a>"


def _worth(hole) -> str:
    """Why one should look, or nothing."""
    if hole.state == UNDRILLED:
        return "☐ " + tr("not drilled")
    if hole.state == HIDDEN:
        return "? " + (hole.reason or tr("not to be seen"))
    if hole.state == DRILLED and hole.breakout_deg:
        return "▲ " + tr("broke out of its land over {deg}°", deg=round(hole.breakout_deg))
    if hole.state == DRILLED and hole.reason:
        return "◇ " + hole.reason
    if hole.ring_mm is not None and hole.ring_mm < THIN_RING_MM:
        return "○ " + tr("thin ring, {ring} left", ring=mm(max(hole.ring_mm, 0.0)))
    return ""
