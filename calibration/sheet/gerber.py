"""A sheet as Gerber copper, outline and NC drill list: black becomes copper.

For a single-sided board, whose copper is the bottom: a design is seen from the component side,
so the sheet stands mirrored in these files, and upright on the copper when one looks at it.
Gerber: RS-274X with file functions; drill list: metric, decimal points.
"""

from __future__ import annotations

from collections.abc import Iterable

import cv2
import numpy as np

from calibration.sheet.png import write
from calibration.sheet.shapes import Sheet, Text

TEXT_PX_PER_MM = 40.0  # at which words are drawn before their outlines are taken


def gerber_of(sheet: Sheet, stem: str) -> dict[str, str]:
    """File name -> text: copper, outline, and drill list if the sheet has lands."""
    files = {
        f"{stem}-copper_bottom.gbr": _copper(sheet),
        f"{stem}-outline.gbr": _outline(sheet),
    }
    if sheet.lands:
        files[f"{stem}.drl"] = _drill(sheet)
    return files


def _design(sheet: Sheet, xy: Iterable) -> np.ndarray:
    """(N, 2) sheet mm -> design mm: seen from the component side, y up, both from zero."""
    x, y = np.asarray(xy, float).reshape(-1, 2).T
    return np.column_stack([sheet.width_mm - x, sheet.height_mm - y])


def _head(function: str) -> list[str]:
    return [
        "%TF.GenerationSoftware,drillaid,test board*%",
        f"%TF.FileFunction,{function}*%",
        "%TF.FilePolarity,Positive*%",
        "%FSLAX46Y46*%",
        "%MOMM*%",
        "%LPD*%",
        "G01*",
    ]


def _at(xy, code: str) -> str:
    return f"X{round(xy[0] * 1e6)}Y{round(xy[1] * 1e6)}{code}*"


def _region(loop: np.ndarray) -> list[str]:
    points = [*loop, loop[0]]
    return ["G36*", _at(points[0], "D02"), *(_at(p, "D01") for p in points[1:]), "G37*"]


def _copper(sheet: Sheet) -> str:
    lines = _head("Copper,L2,Bot")
    if sheet.lands:
        lines.insert(-1, f"%TA.AperFunction,ComponentPad*%\n%ADD10C,{sheet.lands[0].land_mm:.4f}*%")
    for shape in sheet.shapes:
        for x0, y0, x1, y1 in shape.boxes():
            lines += _region(_design(sheet, [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]))
    outer, inner = _letters(sheet)
    for loop in outer:
        lines += _region(loop)
    if inner:  # the eyes of letters; nothing else lies there
        lines += ["%LPC*%", *(line for loop in inner for line in _region(loop)), "%LPD*%"]
    if sheet.lands:
        places = _design(sheet, [(land.x_mm, land.y_mm) for land in sheet.lands])
        lines += ["D10*", *(_at(xy, "D03") for xy in places)]
    return "\n".join([*lines, "M02*", ""])


def _letters(sheet: Sheet) -> tuple[list[np.ndarray], list[np.ndarray]]:
    """Outlines of all words in design mm: (of copper, of what is free inside it)."""
    outer: list[np.ndarray] = []
    inner: list[np.ndarray] = []
    for text in sheet.texts:
        margin = text.size_mm
        shape = (int(3 * margin * TEXT_PX_PER_MM), int((text.room_mm + 6) * TEXT_PX_PER_MM))
        picture = np.full(shape, 255, np.uint8)
        write(
            picture, Text(margin, 2 * margin, text.size_mm, text.words, text.style), TEXT_PX_PER_MM
        )
        loops, family = cv2.findContours(255 - picture, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_TC89_L1)
        if family is None:
            continue
        for loop, (_, _, _, parent) in zip(loops, family[0], strict=True):
            if len(loop) < 3:
                continue
            local = (loop.reshape(-1, 2) + 0.5) / TEXT_PX_PER_MM - (margin, 2 * margin)
            placed = _design(sheet, local + (text.x_mm, text.y_mm))
            (outer if parent < 0 else inner).append(placed)
    return outer, inner


def _outline(sheet: Sheet) -> str:
    w, h = sheet.width_mm, sheet.height_mm
    corners = [(0, 0), (w, 0), (w, h), (0, h), (0, 0)]
    lines = [*_head("Profile,NP"), "%TA.AperFunction,Profile*%", "%ADD10C,0.1000*%", "D10*"]
    lines += [_at(xy, "D01" if k else "D02") for k, xy in enumerate(corners)]
    return "\n".join([*lines, "M02*", ""])


def _drill(sheet: Sheet) -> str:
    lines = ["M48", "; #@! TF.FileFunction,NonPlated,1,2,NPTH", "METRIC"]
    drills = sorted({land.drill_mm for land in sheet.lands})
    lines += [f"T{k:02d}C{size:.3f}" for k, size in enumerate(drills, 1)] + ["%", "G90", "G05"]
    for k, size in enumerate(drills, 1):
        lines.append(f"T{k:02d}")
        places = [(land.x_mm, land.y_mm) for land in sheet.lands if land.drill_mm == size]
        lines += [f"X{x:.4f}Y{y:.4f}" for x, y in _design(sheet, places)]
    return "\n".join([*lines, "T0", "M30", ""])
