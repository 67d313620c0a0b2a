"""From findings to an inspection: parts judged, figures summed up."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from drillaid.design.model import Design
from drillaid.inspection.fit import Pin, default_pin, fit_part
from drillaid.inspection.result import (
    DRILLED,
    HIDDEN,
    MEASURED,
    UNDRILLED,
    HoleFinding,
    Inspection,
    PartFinding,
    Summary,
)


def judge_part(
    part, design: Design, findings: dict[int, HoleFinding], *, pin: Pin | None = None
) -> PartFinding:
    """Whether one part goes into its holes.

    part: a `design.parts.Part`
    findings: by hole number
    """
    numbers = tuple(part.holes)
    index = {hole.number: i for i, hole in enumerate(design.holes)}
    rows = [index[n] for n in numbers]
    nominal = design.xy_mm[rows]
    if pin is None:
        pin = default_pin(
            part.pitch_mm, float(design.drill_mm[rows].min()), rows_apart_mm=_rows_apart(nominal)
        )
    missing = [n for n in numbers if findings[n].state != DRILLED]
    if missing:
        state = "not drilled yet" if all(findings[n].state == UNDRILLED for n in missing) else (
            "not measured")
        which = ", ".join(map(str, missing[:6])) + (" …" if len(missing) > 6 else "")
        reason = f"hole{'s' if len(missing) > 1 else ''} {which} {state}"
        return PartFinding(part.name, numbers, part.pitch_mm, pin, None, reason=reason)
    holes = [findings[n] for n in numbers]
    fit = fit_part([h.place_mm for h in holes], [h.diameter_mm for h in holes], nominal, pin)
    worst = holes[fit.tightest]
    # along one direction: a centre's share is 1/sqrt(2) of its distance, a diameter's a half
    error = float(np.hypot(worst.centre_error_mm / 2**0.5, worst.diameter_error_mm / 2))
    return PartFinding(
        part.name, numbers, part.pitch_mm, pin, fit.fits, fit.play_mm, error, worst.hole
    )


def _rows_apart(nominal_mm: np.ndarray) -> float | None:
    """Distance of two parallel rows of equal count; None for one row or another shape."""
    if len(nominal_mm) < 4 or len(nominal_mm) % 2:
        return None
    centred = nominal_mm - nominal_mm.mean(axis=0)
    for axis in (np.linalg.svd(centred, full_matrices=False)[2]):
        across = np.sort(centred @ axis)
        half = len(across) // 2
        if np.ptp(across[:half]) < 0.1 and np.ptp(across[half:]) < 0.1:
            return float(across[half:].mean() - across[:half].mean())
    return None


def summarise(findings: Sequence[HoleFinding], parts: Sequence[PartFinding]) -> Summary:
    """Counts, and the offsets' figures over the drilled holes alone."""
    drilled = [f for f in findings if f.state == DRILLED]
    off = np.array([f.off_mm for f in drilled]).reshape(-1, 2)
    far = np.hypot(*off.T)
    worst = drilled[int(far.argmax())] if drilled else None
    rings = [f.ring_mm for f in drilled if f.ring_mm is not None]
    return Summary(
        holes=len(findings),
        drilled=len(drilled),
        undrilled=sum(f.state == UNDRILLED for f in findings),
        hidden=sum(f.state == HIDDEN for f in findings),
        mean_off_mm=tuple(map(float, off.mean(axis=0))) if drilled else None,
        rms_mm=float(np.sqrt((far**2).mean())) if drilled else None,
        within_95_mm=float(np.quantile(far, 0.95)) if drilled else None,
        worst_hole=worst.hole if worst else None,
        worst_mm=worst.distance_mm if worst else None,
        narrowest_ring_mm=min(rings, default=None),
        broken_out=sum((f.breakout_deg or 0) > 0 for f in drilled),
        parts=len(parts),
        parts_fitting=sum(p.fits is True for p in parts),
        parts_unknown=sum(p.fits is None for p in parts),
        close_calls=sum(p.close for p in parts),
    )


def conclude(
    findings: Sequence[HoleFinding],
    parts: Sequence,
    design: Design,
    *,
    true_scale: bool,
    pins: dict[str, Pin] | None = None,
    seconds: dict[str, float] | None = None,
) -> Inspection:
    """The inspection of a board whose holes were measured.

    parts: as recognised in the design; pins: by part name where they are known
    """
    by_number = {finding.hole: finding for finding in findings}
    judged = tuple(
        judge_part(part, design, by_number, pin=(pins or {}).get(part.name)) for part in parts
    )
    summary = summarise(findings, judged)
    return Inspection(
        MEASURED, _message(summary), tuple(findings), judged, summary, true_scale, seconds or {}
    )


def _message(s: Summary) -> str:
    words = f"{s.drilled} of {s.holes} holes drilled"
    if s.undrilled:
        words += f", {s.undrilled} not yet"
    if s.hidden:
        words += f", {s.hidden} not to be seen"
    if s.drilled:
        words += (
            f"; 95 % within {s.within_95_mm:.2f} mm, the worst is hole {s.worst_hole} "
            f"with {s.worst_mm:.2f} mm"
        )
    failing = s.parts - s.parts_fitting - s.parts_unknown
    if s.parts:
        words += f"; {s.parts_fitting} of {s.parts} parts go in"
        if failing:
            words += f", {failing} {'does' if failing == 1 else 'do'} not"
        if s.parts_unknown:
            words += f", {s.parts_unknown} cannot be judged yet"
    return words + "."
