"""From findings to an inspection: parts judged, figures summed up."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from drillaid.design.model import Design
from drillaid.inspection.believed import Believed, believed_holes
from drillaid.inspection.chance import chance_of_fit
from drillaid.inspection.fit import Pin, default_pin, fit_part
from drillaid.inspection.remedy import find_remedy
from drillaid.inspection.result import (
    DRILLED,
    HIDDEN,
    MEASURED,
    NOTHING_DRILLED,
    NOTHING_SEEN,
    UNDRILLED,
    HoleFinding,
    Inspection,
    PartFinding,
    Summary,
)

MANY_HIDDEN = 0.1  # of the holes, from which on it is said what to do about it
SIGMAS = 2.0  # of the play's error, which a remedy shall leave
SEED = 1  # the same photograph is judged the same twice


def judge_part(
    part,
    design: Design,
    findings: dict[int, HoleFinding],
    *,
    pin: Pin | None = None,
    believed: dict[int, Believed] | None = None,
    rng: np.random.Generator | None = None,
    bits_mm: Sequence[float] | None = None,
) -> PartFinding:
    """Whether one part goes into its holes, how probably, and what to do where it does not.

    part: a `design.parts.Part`
    findings: by hole number
    believed: of the drilled ones; None: from these findings
    rng: draws the errors; None: one that always draws the same
    bits_mm: at hand, to open holes with; None: the common sizes
    """
    numbers = tuple(part.holes)
    rows = rows_of(part, design)
    if pin is None:
        pin = usual_pin(part, design)
    sure = getattr(part, "sure", True)
    missing = [n for n in numbers if findings[n].state != DRILLED]
    if missing:
        state = "not drilled yet" if all(findings[n].state == UNDRILLED for n in missing) else (
            "not measured")
        which = ", ".join(map(str, missing[:6])) + (" …" if len(missing) > 6 else "")
        reason = f"hole{'s' if len(missing) > 1 else ''} {which} {state}"
        return PartFinding(part.name, numbers, part.pitch_mm, pin, None, reason=reason, sure=sure)
    if believed is None:
        believed = believed_holes(list(findings.values()), design)
    holes = [believed[n] for n in numbers]
    centre_error = [h.centre_error_mm for h in holes]
    diameter_error = [h.diameter_error_mm for h in holes]
    asked = ([h.centre_mm for h in holes], [h.diameter_mm for h in holes], design.xy_mm[rows], pin)
    along = along_rad(part, design)
    fit = fit_part(*asked, along_rad=along)
    probability = chance_of_fit(
        *asked, along_rad=along, centre_error_mm=centre_error, diameter_error_mm=diameter_error,
        rng=rng if rng is not None else np.random.default_rng(SEED),
    )  # fmt: skip
    error = fit.play_error_mm(centre_error, diameter_error)
    remedy = None
    if not fit.fits:
        remedy = find_remedy(
            part, design, findings, believed, pin, along_rad=along, bits_mm=bits_mm,
            margin_mm=SIGMAS * error,
        )  # fmt: skip
    return PartFinding(
        part.name, numbers, part.pitch_mm, pin, fit.fits, fit.play_mm, error,
        numbers[fit.tightest], probability=probability, sure=sure, remedy=remedy,
    )  # fmt: skip


def rows_of(part, design: Design) -> list[int]:
    """Indices of the part's holes into the design's, in the part's order."""
    index = {hole.number: i for i, hole in enumerate(design.holes)}
    return [index[n] for n in part.holes]


def usual_pin(part, design: Design) -> Pin:
    """The pin to try where nobody named one."""
    rows = rows_of(part, design)
    asked = float(design.drill_mm[rows].min())
    return default_pin(part.pitch_mm, asked, rows_apart_mm=_rows_apart(design.xy_mm[rows]))


def along_rad(part, design: Design) -> float:
    """Direction of the part's rows, design axes."""
    first, second = design.xy_mm[rows_of(part, design)[:2]]
    return float(np.arctan2(*(second - first)[::-1]))


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
        other_size=sum(bool(f.reason) for f in drilled),
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
    pins: dict[tuple[int, ...], Pin] | None = None,
    seconds: dict[str, float] | None = None,
    bits_mm: Sequence[float] | None = None,
) -> Inspection:
    """The inspection of a board whose holes were measured.

    parts: as recognised in the design; pins: by a part's holes, where they are known
    """
    by_number = {finding.hole: finding for finding in findings}
    believed = believed_holes(findings, design)
    rng = np.random.default_rng(SEED)
    judged = tuple(
        judge_part(
            part, design, by_number, pin=(pins or {}).get(part.holes), believed=believed, rng=rng,
            bits_mm=bits_mm,
        )
        for part in parts
    )
    summary = summarise(findings, judged)
    return Inspection(
        _status(summary), _message(summary), tuple(findings), judged, summary, true_scale, seconds or {}
    )


def _status(s: Summary) -> str:
    if s.drilled or not s.holes:
        return MEASURED
    return NOTHING_DRILLED if s.undrilled else NOTHING_SEEN


def _nothing(s: Summary) -> str:
    """Of a board without one measured hole, with what to do."""
    if not s.undrilled:
        return (
            f"None of the {s.holes} holes can be seen, drilled or not: take hands and spindle away "
            "from the board, wipe dust off it, and take the picture again in even light."
        )
    hidden = f", {s.hidden} are not to be seen" if s.hidden else ""
    return (
        f"No hole is drilled on this board: {s.undrilled} of {s.holes} pads are untouched{hidden}. "
        "Drill it first; if it is drilled, this is a picture from before, or of another board of "
        "the same design."
    )


def _message(s: Summary) -> str:
    if _status(s) != MEASURED:
        return _nothing(s)
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
    if s.other_size:
        words += f"; {s.other_size} not of the size asked for"
    failing = s.parts - s.parts_fitting - s.parts_unknown
    if s.parts:
        words += f"; {s.parts_fitting} of {s.parts} parts go in"
        if failing:
            words += f", {failing} {'does' if failing == 1 else 'do'} not"
        if s.parts_unknown:
            words += f", {s.parts_unknown} cannot be judged yet"
    if s.hidden > MANY_HIDDEN * s.holes:
        words += (
            "; to see the others take hands and spindle away, wipe the dust off, focus on the "
            "copper and give even light"
        )
    return words + "."
