"""`calibrate spindle` from pictures to the rig file's [spindle], or the reason why not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calibration.rig_draft import RigDraft
from calibration.spindle_axis import (
    ENOUGH_MM,
    FEW,
    LEAN_SIGMA,
    HoleSeen,
    SpindleAxis,
    fit_spindle,
)
from drillaid.design.holelist import counted
from drillaid.guidance.spindle_mark import NEAR_PX, SpindleMark, mark_in_scrap

DONE, REFUSED = "calibrated", "refused"


@dataclass(frozen=True, eq=False)
class SpindleJob:
    """done: whether there is an answer; message: for a person; data: of --json
    draft: with the new section, not yet saved; None where refused or without a rig file
    """

    done: bool
    message: str
    data: dict
    draft: RigDraft | None = None


def with_rig(
    draft: RigDraft, pictures: Sequence[tuple[str, float, np.ndarray]], near_px=None, *, anew=False
) -> SpindleJob:
    """pictures: (name, thickness mm, uint8 BGR); holes of earlier runs in the draft count as well
    unless anew; near_px: (2,) about where the hole is
    """
    rig = draft.rig()
    holes = [] if anew else _earlier(draft)
    marks = marks_in(pictures, near_px)
    for (name, thickness, _), mark in zip(pictures, marks, strict=True):
        if isinstance(mark, str):
            return _refused(_sentence(name, mark), holes)
        at = rig.to_bench(mark.px[None], thickness)[0]
        per_px = np.abs(rig.to_bench(mark.px + [[1.0, 0.0], [0.0, 1.0]], thickness) - at).max()
        sigma = float(np.sqrt(np.trace(mark.covariance_px2) / 2) * per_px)
        if not np.isfinite(at).all():
            return _refused(
                _sentence(name, "the hole is outside what the lens model covers"), holes
            )
        new = HoleSeen(name, thickness, at, sigma)
        if not any(_same(new, hole) for hole in holes):  # the same picture once more is no news
            holes.append(new)
    found = fit_spindle(holes, rig)
    if isinstance(found, str):
        return _refused(f"{found[:1].upper()}{found[1:]}.", holes)
    message = _told(found)
    values = {
        "axis_mm": found.axis_mm,
        "lean": found.lean,
        "sigma_mm": found.sigma_mm,
        "covariance": found.covariance,
        "wander_mm": found.wander_mm,
        "holes": [hole.to_data() for hole in found.holes],
    }
    data = {
        "status": DONE,
        "message": message,
        "axis_mm": found.axis_mm,
        "lean": found.lean,
        "sigma_mm": found.sigma_mm,
        "lean_known": found.lean_known,
        "wander_mm": found.wander_mm,
        "rms_mm": found.rms_mm,
        "more_holes": found.more,
        "holes": values["holes"],
    }
    return SpindleJob(True, message, data, draft.with_section("spindle", values))


def in_pixels(pictures: Sequence[tuple[str, float, np.ndarray]], near_px=None) -> SpindleJob:
    """The same without a rig file: the axis is told in pixels, for `guide --spindle U,V`."""
    if len({thickness for _, thickness, _ in pictures}) > 1:
        return _refused(
            "Without a rig file all scrap must be as thick as the boards: give one --thickness.", ()
        )
    if len({image.shape for _, _, image in pictures}) > 1:
        return _refused("The photographs are of different sizes: take all with one setting.", ())
    px, sigma, holes = [], [], []
    marks = marks_in(pictures, near_px)
    for (name, thickness, _), mark in zip(pictures, marks, strict=True):
        if isinstance(mark, str):
            return _refused(_sentence(name, mark), ())
        px.append(mark.px)
        sigma.append(float(np.sqrt(np.trace(mark.covariance_px2) / 2)))
        holes.append({"file": name, "thickness_mm": thickness, "px": mark.px, "used": True})
    px = np.array(px)
    away = np.hypot(*(px - np.median(px, axis=0)).T)
    good = away <= (max(4.0, 3.5 * np.median(away) / 1.177) if len(px) >= FEW else NEAR_PX)
    if good.sum() < len(px) / 2 + 0.5 and len(px) > 1:
        return _refused(
            "The holes lie in several places: clamp the scrap and leave the camera alone.", ()
        )
    for hole, counts in zip(holes, good, strict=True):
        hole["used"] = bool(counts)
    axis = px[good].mean(axis=0)
    off = px[good] - axis
    count = int(good.sum())
    scatter = np.sqrt((off**2).sum() / (2 * (count - 1))) if count > 1 else 0.0
    error = float(np.hypot(scatter, np.median(sigma)) / np.sqrt(count))
    u, v = (round(float(value), 2) for value in axis)
    message = (
        f"The spindle axis is at pixel {u:g},{v:g}, known to {error:.2f} px (one sigma of a "
        f"coordinate) by {count} hole{'s' * (count != 1)}. Guide with --spindle {u:g},{v:g}, "
        "boards as thick as this scrap only, and do not move the camera."
    )
    data = {
        "status": DONE, "message": message, "axis_px": axis, "sigma_px": error,
        "rms_px": float(np.sqrt((off**2).sum(axis=1).mean())), "holes": holes,
    }  # fmt: skip
    return SpindleJob(True, message, data)


def marks_in(pictures, near_px=None) -> list[SpindleMark | str]:
    """The hole in each picture. Where several things may be it, the other pictures choose:
    the spindle comes down in one place."""
    marks = [mark_in_scrap(image, near_px) for _, _, image in pictures]
    clear = [mark.px for mark in marks if not isinstance(mark, str)]
    if near_px is not None or not clear:
        return marks
    middle = np.median(clear, axis=0)
    return [
        mark_in_scrap(image, middle) if isinstance(mark, str) else mark
        for mark, (_, _, image) in zip(marks, pictures, strict=True)
    ]


def _earlier(draft: RigDraft) -> list[HoleSeen]:
    if not draft.holds("spindle"):
        return []
    holes = []
    try:
        for row in draft.section("spindle").get("holes", []):
            at = np.array(row["at_mm"], dtype=np.float64).reshape(2)
            holes.append(
                HoleSeen(str(row["file"]), float(row["thickness_mm"]), at, float(row["sigma_mm"]))
            )
    except (KeyError, TypeError, ValueError):
        return []  # somebody's own list: begin anew
    return holes


def _same(one: HoleSeen, other: HoleSeen) -> bool:
    return (
        one.name == other.name
        and one.thickness_mm == other.thickness_mm
        and np.abs(one.at_mm - other.at_mm).max() < 1e-3
    )


def _told(found: SpindleAxis) -> str:
    x, y = found.axis_mm + found.measured_mm * found.lean
    count = len(found.used)
    lines = [
        f"The spindle axis is at ({x:.2f}, {y:.2f}) mm, {found.measured_mm:.1f} mm above the "
        f"bench, known to {found.sigma_mm:.3f} mm (one sigma) by {count} hole{'s' * (count != 1)}.",
        f"One hole scatters by {found.wander_mm:.3f} mm along an axis: so far the bit itself "
        "wanders and runs out, whatever is measured.",
    ]
    strays = [hole for hole in found.holes if not hole.used]
    lines += [f"{hole.name} does not count: {hole.reason}." for hole in strays]
    if found.lean_known:
        lines.append(
            f"It leans by ({1000 * found.lean[0]:.1f}, {1000 * found.lean[1]:.1f}) mm per metre."
        )
    else:
        lines.append(
            f"Its lean is not known and taken as 0: for each mm of another thickness "
            f"{LEAN_SIGMA:.3f} mm are added to the error. Holes in scrap of another thickness, as "
            "thick as you have, would tell it."
        )
    if count < FEW:
        lines.append("Drill two or three more: one hole says little about the next.")
    elif found.more:
        lines.append(
            f"{counted(found.more, 'more hole', 'more holes')} would make it known to "
            f"{ENOUGH_MM:.3f} mm."
        )
    return "\n".join(lines)


def _refused(message: str, holes) -> SpindleJob:
    data = {"status": REFUSED, "message": message, "rms_mm": None,
            "holes": [hole.to_data() for hole in holes]}  # fmt: skip
    return SpindleJob(False, message, data)


def _sentence(name: str, why: str) -> str:
    return f"{name}: {why.replace('--spindle', '--hole').rstrip('.')}."
