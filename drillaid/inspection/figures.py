"""Drawings for the report, as SVG text: the board with its errors, and the target.

Colours are Okabe and Ito's (2002, rev. 2008), told apart by the colour-blind;
every state also has a shape of its own, so nothing is said by colour alone.
"""

from __future__ import annotations

import base64
import math

import cv2
import numpy as np

from drillaid.design.model import Design
from drillaid.errors import StorageError
from drillaid.inspection.result import DRILLED, HIDDEN, Inspection
from drillaid.registration.result import Placement
from drillaid.rig.rig import Rig

BLUE, VERMILLION, GREEN, SKY = "#0072B2", "#D55E00", "#009E73", "#56B4E9"
WIDEST_PX = 1500
MAGNIFICATIONS = (1, 2, 5, 10, 20, 50)


def data_url(image: np.ndarray, quality: int = 84) -> str:
    """A picture (uint8 BGR) as a JPEG inside the page."""
    done, data = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, quality])
    if not done:
        raise StorageError("The picture for the report could not be packed.")
    return "data:image/jpeg;base64," + base64.b64encode(data.tobytes()).decode("ascii")


def cropped(picture: np.ndarray, placement: Placement) -> tuple[np.ndarray, np.ndarray, float]:
    """The board's part of a photograph, its corner (u, v) there, and px of it per px before."""
    height, width = picture.shape[:2]
    px = placement.pixels[np.isfinite(placement.pixels).all(axis=1)]
    margin = 5.0 * placement.px_per_mm
    low = np.clip(np.floor(px.min(axis=0) - margin), 0, [width - 2, height - 2]).astype(int)
    high = np.clip(np.ceil(px.max(axis=0) + margin), low + 2, [width, height]).astype(int)
    part = picture[low[1] : high[1], low[0] : high[0]]
    scale = min(1.0, WIDEST_PX / part.shape[1])
    if scale < 1.0:
        part = cv2.resize(part, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    return part, low.astype(float), scale


def magnification(inspection: Inspection) -> int:
    """How many times errors are drawn enlarged: the usual one about 1.5 mm long."""
    far = [h.distance_mm for h in inspection.holes if h.distance_mm is not None]
    if not far:
        return 1
    wanted = 1.5 / max(float(np.quantile(far, 0.9)), 0.02)
    return max((m for m in MAGNIFICATIONS if m <= wanted), default=1)


def board_svg(
    design: Design,
    inspection: Inspection,
    placement: Placement,
    picture: np.ndarray,
    rig: Rig | None,
    marked: set[int],
) -> str:
    """The photograph with every hole marked and its error as an arrow.

    marked: numbers of the holes whose number is written beside them
    """
    part, corner, scale = cropped(picture, placement)
    height, width = part.shape[:2]
    mm = placement.px_per_mm * scale
    enlarge = magnification(inspection)
    line = max(1.2, 0.09 * mm)
    shapes = [_outline(design, placement, rig, corner, scale, line)]
    for finding, px in zip(inspection.holes, placement.pixels, strict=True):
        if not np.isfinite(px).all():
            continue
        asked = (px - corner + 0.5) * scale
        shapes.append(_mark(finding, asked, corner, scale, mm, enlarge, line))
        if finding.hole in marked:
            shapes.append(_number(finding.hole, asked, mm))
    title = "Photograph of the board; arrows show where each hole lies against the design"
    return (
        f'<svg class="board" viewBox="0 0 {width} {height}" role="img" aria-label="{title}">'
        f'<image width="{width}" height="{height}" href="{data_url(part)}"/>'
        + "".join(shapes)
        + _scale_bar(width, height, mm, enlarge)
        + "</svg>"
    )


def _outline(design, placement, rig, corner, scale, line) -> str:
    if design.outline is None:
        return ""
    px = placement.homography(design.outline.rings_mm[0])
    if rig is not None:
        px = rig.distort(px)
    px = (px[np.isfinite(px).all(axis=1)] - corner + 0.5) * scale
    points = " ".join(f"{u:.1f},{v:.1f}" for u, v in px)
    return (
        f'<polygon points="{points}" fill="none" stroke="{SKY}" '
        f'stroke-width="{0.8 * line:.1f}" stroke-dasharray="{4 * line:.1f} {3 * line:.1f}"/>'
    )


def _mark(finding, asked, corner, scale, mm, enlarge, line) -> str:
    u, v = asked
    if finding.state == DRILLED:
        at = (np.array(finding.pixel) - corner + 0.5) * scale
        tip = asked + enlarge * (at - asked)
        colour = VERMILLION if finding.breakout_deg else BLUE
        radius = finding.diameter_mm / 2 * mm
        ring = (
            f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="{radius:.1f}" fill="none" '
            f'stroke="#fff" stroke-width="{0.6 * line:.1f}"/>'
        )
        if finding.breakout_deg:
            ring += (
                f'<circle cx="{at[0]:.1f}" cy="{at[1]:.1f}" r="{radius + 0.35 * mm:.1f}" '
                f'fill="none" stroke="{VERMILLION}" stroke-width="{1.4 * line:.1f}"/>'
            )
        return ring + _arrow(asked, tip, colour, line)
    half = 0.7 * mm
    if finding.state == HIDDEN:
        return (
            f'<path d="M{u - half:.1f} {v - half:.1f}L{u + half:.1f} {v + half:.1f}'
            f'M{u - half:.1f} {v + half:.1f}L{u + half:.1f} {v - half:.1f}" '
            f'stroke="#fff" stroke-width="{2.4 * line:.1f}"/>'
            f'<path d="M{u - half:.1f} {v - half:.1f}L{u + half:.1f} {v + half:.1f}'
            f'M{u - half:.1f} {v + half:.1f}L{u + half:.1f} {v - half:.1f}" '
            f'stroke="#000" stroke-width="{1.2 * line:.1f}"/>'
        )
    return (
        f'<rect x="{u - half:.1f}" y="{v - half:.1f}" width="{2 * half:.1f}" '
        f'height="{2 * half:.1f}" fill="none" stroke="#fff" stroke-width="{2.2 * line:.1f}"/>'
        f'<rect x="{u - half:.1f}" y="{v - half:.1f}" width="{2 * half:.1f}" '
        f'height="{2 * half:.1f}" fill="none" stroke="#000" stroke-width="{1.1 * line:.1f}" '
        f'stroke-dasharray="{2.5 * line:.1f} {1.6 * line:.1f}"/>'
    )


def _arrow(start, tip, colour: str, line: float) -> str:
    away = tip - start
    length = float(np.hypot(*away))
    if length < 2 * line:
        return f'<circle cx="{tip[0]:.1f}" cy="{tip[1]:.1f}" r="{line:.1f}" fill="{colour}"/>'
    unit = away / length
    side = np.array([-unit[1], unit[0]])
    head = min(4.5 * line, 0.6 * length)
    neck = tip - head * unit
    a, b = neck + 0.45 * head * side, neck - 0.45 * head * side
    shaft = f"M{start[0]:.1f} {start[1]:.1f}L{neck[0]:.1f} {neck[1]:.1f}"
    point = f"M{tip[0]:.1f} {tip[1]:.1f}L{a[0]:.1f} {a[1]:.1f}L{b[0]:.1f} {b[1]:.1f}Z"
    return (
        f'<path d="{shaft}{point}" fill="none" stroke="#fff" stroke-width="{3.2 * line:.1f}" '
        f'stroke-linejoin="round"/>'
        f'<path d="{shaft}" stroke="{colour}" stroke-width="{1.6 * line:.1f}"/>'
        f'<path d="{point}" fill="{colour}"/>'
    )


def _number(number: int, asked, mm: float) -> str:
    size = max(11.0, 1.3 * mm)
    return (
        f'<text x="{asked[0] + 1.0 * mm:.1f}" y="{asked[1] - 0.9 * mm:.1f}" '
        f'font-size="{size:.1f}" class="tag">{number}</text>'
    )


def _scale_bar(width: int, height: int, mm: float, enlarge: int) -> str:
    """10 mm of board, and what the same length means for an arrow."""
    bar = 10 * mm
    size = max(11.0, width / 75)
    x, y = size, height - 1.2 * size
    words = f"10 mm of board; for the arrows {10 / enlarge:g} mm (drawn {enlarge} times too long)"
    return (
        f'<rect x="{x - 0.5 * size:.1f}" y="{y - 1.9 * size:.1f}" '
        f'width="{max(bar, 0.53 * size * len(words)) + size:.1f}" height="{2.6 * size:.1f}" '
        f'fill="#fff" fill-opacity="0.86"/>'
        f'<path d="M{x:.1f} {y - 0.35 * size:.1f}v{0.7 * size:.1f}m0 {-0.35 * size:.1f}h{bar:.1f}'
        f'm0 {-0.35 * size:.1f}v{0.7 * size:.1f}" stroke="#000" fill="none" '
        f'stroke-width="{0.12 * size:.1f}"/>'
        f'<text x="{x:.1f}" y="{y - 0.75 * size:.1f}" font-size="{size:.1f}">{words}</text>'
    )


def target_svg(inspection: Inspection) -> str:
    """Every drilled hole's offset round the place asked for, design axes, mm."""
    drilled = [h for h in inspection.holes if h.state == DRILLED]
    far = max([h.distance_mm for h in drilled], default=0.1)
    step = next(s for s in (0.05, 0.1, 0.2, 0.5, 1.0, 2.0) if far / s <= 4 or s == 2.0)
    rings = max(2, math.ceil(far / step))
    size, middle = 340.0, 170.0
    unit = 140.0 / (rings * step)
    out = [
        f'<svg class="target" viewBox="0 0 {size:g} {size:g}" role="img" '
        f'aria-label="Offsets of the drilled holes, one point each">'
    ]
    for k in range(rings, 0, -1):
        radius = k * step * unit
        out.append(
            f'<circle cx="{middle}" cy="{middle}" r="{radius:.1f}" '
            f'fill="{"#f4f6f8" if k % 2 else "#fff"}" stroke="#9aa5ad"/>'
            f'<text x="{middle + 3}" y="{middle - radius + 12:.1f}" class="axis">{k * step:g} mm</text>'
        )
    reach = 150
    out.append(
        f'<path d="M{middle - reach} {middle}h{2 * reach}M{middle} {middle - reach}v{2 * reach}" '
        'stroke="#9aa5ad" fill="none"/>'
        f'<text x="{size - 14}" y="{middle - 5}" class="axis">x</text>'
        f'<text x="{middle + 5}" y="{12}" class="axis">y</text>'
    )
    for h in drilled:
        out.append(_dot(h, middle + h.off_mm[0] * unit, middle - h.off_mm[1] * unit))
    s = inspection.summary
    if s is not None and s.mean_off_mm is not None:
        x, y = middle + s.mean_off_mm[0] * unit, middle - s.mean_off_mm[1] * unit
        cross = f"M{x - 8:.1f} {y:.1f}h16M{x:.1f} {y - 8:.1f}v16"
        out.append(
            f'<path d="{cross}" stroke="#fff" stroke-width="5"/>'
            f'<path d="{cross}" stroke="#000" stroke-width="2.2"/>'
        )
    return "".join(out) + "</svg>"


def _dot(h, x: float, y: float) -> str:
    if h.breakout_deg:
        return (
            f'<path d="M{x:.1f} {y - 5:.1f}l4.6 8h-9.2z" fill="{VERMILLION}" stroke="#fff">'
            f"<title>hole {h.hole}</title></path>"
        )
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3.1" fill="{BLUE}" fill-opacity="0.8" '
        f'stroke="#fff" stroke-width="0.7"><title>hole {h.hole}</title></circle>'
    )
