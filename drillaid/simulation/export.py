"""Writes an invented design as the files a layout program would hand out.

RS-274X Gerber with file attributes for the bottom copper and the outline, NC
drill in the XNC subset (metric, decimal points), plated and non-plated apart.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

from drillaid.design.model import Land

if TYPE_CHECKING:
    from drillaid.simulation.designs import InventedDesign


def write_fabrication_files(design: InventedDesign, folder, stem: str) -> list[Path]:
    """The paths written: copper, outline, plated and (if any) non-plated drills."""
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    texts = {
        f"{stem}-copper_bottom.gbr": _copper(design),
        f"{stem}-outline.gbr": _outline(design),
        f"{stem}-plated.drl": _drill(design, plated=True),
    }
    if any(h.plated is False for h in design.holes):
        texts[f"{stem}-nonplated.drl"] = _drill(design, plated=False)
    paths = []
    for name, text in texts.items():
        path = folder / name
        path.write_text(text, encoding="ascii")
        paths.append(path)
    return paths


def _head(function: str) -> list[str]:
    return [
        "%TF.GenerationSoftware,drillaid,demo*%",
        f"%TF.FileFunction,{function}*%",
        "%TF.FilePolarity,Positive*%",
        "%FSLAX46Y46*%",
        "%MOMM*%",
        "%LPD*%",
    ]


def _number(mm: float) -> str:
    return str(int(round(mm * 1e6)))


def _at(xy, code: str) -> str:
    return f"X{_number(xy[0])}Y{_number(xy[1])}{code}*"


def _land_aperture(land: Land) -> str:
    w, h = land.size_mm
    if abs(math.sin(land.rotation_rad)) > 0.5:
        w, h = h, w
    if land.shape == "round":
        return f"C,{w:.4f}"
    if land.shape == "octagon":
        # A regular polygon is given by the circle round its corners; turned so that a flat is up.
        return f"P,{w / math.cos(math.pi / 8):.6f}X8X22.5"
    return f"{'R' if land.shape == 'rectangle' else 'O'},{w:.4f}X{h:.4f}"


def _copper(design: InventedDesign) -> str:
    art = design.artwork
    if art.pour is not None:
        raise ValueError("designs with a pour are not written: choose one without")
    lines = _head("Copper,L1,Bot")
    apertures: dict[tuple[str, str], int] = {}

    def code(shape: str, function: str) -> int:
        return apertures.setdefault((shape, function), 10 + len(apertures))

    body = []
    for track in art.tracks:
        body.append((code(f"C,{track.width_mm:.4f}", "Conductor"),
                     [_at(track.start_mm, "D02"), _at(track.end_mm, "D01")]))  # fmt: skip
    for land in art.lands:
        body.append((code(_land_aperture(land), "ComponentPad"), [_at(land.centre_mm, "D03")]))
    for (shape, function), number in apertures.items():
        lines += [f"%TA.AperFunction,{function}*%", f"%ADD{number}{shape}*%", "%TD*%"]
    lines.append("G01*")
    current = None
    for number, draws in body:
        if number != current:
            lines.append(f"D{number}*")
            current = number
        lines += draws
    return "\n".join([*lines, "M02*", ""])


def _outline(design: InventedDesign) -> str:
    lines = [*_head("Profile,NP"), "%TA.AperFunction,Profile*%", "%ADD10C,0.1000*%", "%TD*%"]
    lines += ["G01*", "D10*"]
    for ring in design.outline.rings_mm:
        lines += [_at(xy, "D02" if i == 0 else "D01") for i, xy in enumerate(ring)]
    return "\n".join([*lines, "M02*", ""])


def _drill(design: InventedDesign, plated: bool) -> str:
    holes = [h for h in design.holes if (h.plated is not False) == plated]
    kind = "Plated,1,2,PTH" if plated else "NonPlated,1,2,NPTH"
    lines = ["M48", "; #@! TF.GenerationSoftware,drillaid,demo", f"; #@! TF.FileFunction,{kind}"]
    lines.append("METRIC")
    drills = sorted({h.drill_mm for h in holes})
    lines += [f"T{i:02d}C{d:.3f}" for i, d in enumerate(drills, 1)]
    lines += ["%", "G90", "G05"]
    for i, d in enumerate(drills, 1):
        lines.append(f"T{i:02d}")
        lines += [f"X{h.x_mm:.4f}Y{h.y_mm:.4f}" for h in holes if h.drill_mm == d]
    return "\n".join([*lines, "T0", "M30", ""])
