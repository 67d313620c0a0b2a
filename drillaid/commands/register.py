"""`drillaid register`: where the board lies in one photograph."""

from __future__ import annotations

import argparse
import math

import numpy as np

from drillaid.commands import DONE, REFUSED, Answer, add_photograph_arguments
from drillaid.design.model import Design
from drillaid.errors import UsageError
from drillaid.registration.result import Registration

SUMMARY = "where the board lies in one photograph"
EXAMPLE = "drillaid register board.drl board-B_Cu.gbr photo.jpg --rig bench.toml --face bottom"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_photograph_arguments(parser, without_rig="no mm on the bench")
    parser.add_argument(
        "--pad",
        action="append",
        default=[],
        metavar="HOLE:U,V",
        help="a pad pointed out: hole number and pixel; give it twice where two places fit",
    )


def run(args: argparse.Namespace) -> Answer:
    from drillaid.design.read import read_design
    from drillaid.registration.register import register_picture
    from drillaid.rig.file import load_rig
    from drillaid.rig.pictures import check_size, read_picture

    design = read_design(args.design, face=args.face)
    picture = read_picture(args.photo)
    rig = None if args.rig is None else load_rig(args.rig)
    if rig is not None:
        check_size(rig, picture)
    registration = register_picture(
        picture,
        design,
        rig=rig,
        face=args.face,
        thickness_mm=checked_thickness(args.thickness),
        pads=pads_from(args.pad, design),
    )
    status = DONE if registration.ok else REFUSED
    data, text = registration_json(registration, design, rig), _text(registration)
    if registration.ok and rig is not None:
        data["parts_at_risk"], told = _risks(registration.placement, design, rig)
        text = "\n".join(filter(None, (text, told)))
        budget = budget_of_worst(registration, design, rig, args.thickness)
        if budget is not None:
            hole, parts = budget
            data["budget_mm"] = {"hole": hole, **parts.to_data()}
            text += f"\nUnder the spindle, hole {hole} at worst: {parts.sentence()}"
    return Answer(text, data, status)


def budget_of_worst(registration: Registration, design: Design, rig, thickness_mm: float):
    """(number of the hole known worst, its `Budget`), or None for a rig that records no sigma."""
    from drillaid.rig.budget import budget_at

    place = registration.placement
    error = np.where(np.isfinite(place.expected_error_mm), place.expected_error_mm, -1.0)
    if place.matrix is None or not len(error) or error.max() < 0:
        return None
    worst = int(np.argmax(error))
    parts = budget_at(
        rig, place.matrix, design.xy_mm, design.xy_mm[worst], thickness_mm,
        registration_mm=float(error[worst]),
    )  # fmt: skip
    if {"lens", "bench", "spindle"} <= set(parts.unknown):
        return None
    return design.holes[worst].number, parts


def _risks(placement, design: Design, rig) -> tuple[list[dict], str | None]:
    """(the parts at risk on this artwork, one sentence on them or None)"""
    from drillaid.commands.holes import MOST_HOLES_FOR_PARTS
    from drillaid.inspection.risk import risk_before_drilling, risk_sentence, usual_scatter_mm

    if len(design.holes) > MOST_HOLES_FOR_PARTS:
        return [], None
    scatter = usual_scatter_mm(rig)
    risks = risk_before_drilling(design, placement, scatter)
    return [r.to_json() for r in risks if r.at_risk], risk_sentence(risks, scatter)


def checked_thickness(value: float) -> float:
    """A board's thickness in mm, if boards come like that."""
    if not 0.05 <= value <= 10.0:
        raise UsageError(f"--thickness is {value:g} mm", remedy="boards are 0.05 to 10 mm thick")
    return value


def pads_from(texts: list[str], design: Design) -> tuple[tuple[int, float, float], ...]:
    """(hole number, u, v) of each --pad."""
    pads = []
    for text in texts:
        try:
            number, place = text.split(":")
            u, v = (float(word) for word in place.split(","))
            hole = int(number)
        except ValueError:
            raise UsageError(f"--pad {text} is not understood", remedy="write --pad 12:640,355") from None
        if not (math.isfinite(u) and math.isfinite(v)):
            raise UsageError(f"--pad {text} names no pixel", remedy="write --pad 12:640,355")
        if not 1 <= hole <= len(design.holes):
            raise UsageError(
                f"--pad names hole {hole}, the design has 1 to {len(design.holes)}",
                remedy="drillaid holes lists the numbers",
            )
        pads.append((hole, u, v))
    if pads and len({hole for hole, _, _ in pads}) < 2:
        raise UsageError("one --pad leaves the rotation open", remedy="point out two pads")
    return tuple(pads)


def registration_json(registration: Registration, design: Design, rig=None) -> dict:
    """The contract of `register --json`; `rig` is accepted for symmetry and not needed."""
    data: dict = {
        "status": registration.status,
        "message": registration.message,
        "pads_seen": registration.pads_seen,
        "pads_agreeing": registration.pads_agreeing,
        "holes_total": registration.holes_total,
        "seconds": registration.seconds,
    }
    if registration.reason:
        data["reason"] = registration.reason
    placement = registration.placement
    if placement is None:
        return data
    middle = design.xy_mm.mean(axis=0)
    # Without a rig what the picture does to the design near its middle stands in.
    local = placement.matrix or _local_affine(placement.homography, middle)
    data |= {
        "model": placement.model,
        "homography": placement.homography.matrix.tolist(),
        "rotation_deg": math.degrees(local.rotation_rad),
        "scale": list(local.scale),
        "shear": local.shear,
        "offset_mm": None,
        "residual_rms_mm": placement.residual_rms_mm,
        "holes": [_hole(registration, design, k) for k in range(len(design.holes))],
    }
    if placement.matrix is not None:
        data["matrix"] = placement.matrix.matrix.tolist()
        data["offset_mm"] = placement.matrix.offset.tolist()
    return data


def _local_affine(homography, middle):
    from drillaid.geometry import Affine

    linear = homography.jacobian([middle])[0]
    # Picture rows run down; turned up, so that face and angle read as with a rig.
    linear = np.diag([1.0, -1.0]) @ linear
    return Affine(np.column_stack([linear, [0.0, 0.0]]))


def _hole(registration: Registration, design: Design, k: int) -> dict:
    p = registration.placement
    return {
        "hole": design.holes[k].number,
        "design_mm": design.xy_mm[k].tolist(),
        "bench_mm": None if p.bench_mm is None else _finite(p.bench_mm[k]),
        "pixel": _finite(p.pixels[k]),
        "pad_seen": bool(p.pad_seen[k]),
        "expected_error_mm": float(p.expected_error_mm[k]),
    }


def _finite(pair) -> list[float] | None:
    return [float(x) for x in pair] if np.isfinite(pair).all() else None


def _text(registration: Registration) -> str:
    lines = [registration.message]
    placement = registration.placement
    if placement is not None and placement.matrix is not None:
        m = placement.matrix
        lines.append(
            f"rotation {math.degrees(m.rotation_rad):.2f}°, scale {m.scale[0]:.4f} × {m.scale[1]:.4f}, "
            f"shear {m.shear:.5f}, model {placement.model}"
        )
    lines.append(
        f"{registration.pads_seen} round things seen, {registration.pads_agreeing} of "
        f"{registration.holes_total} holes agree, {registration.seconds.get('total', 0):.2f} s"
    )
    return "\n".join(lines)
