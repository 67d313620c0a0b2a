"""A small picture of a design for reports: copper, edge, numbered holes."""

from __future__ import annotations

import cv2
import numpy as np

from drillaid.design.model import Design
from drillaid.geometry import Affine, as_points

# Blue, green, red. Chosen for paper and screen; holes tell apart without colour by their numbers.
PAPER, BOARD = (255, 255, 255), (214, 232, 226)
COPPER_COLOURS = {"bottom": (110, 160, 214), "top": (150, 140, 205)}
EDGE, HOLE, INK = (90, 90, 90), (255, 255, 255), (40, 40, 40)
MARGIN_MM = 2.0
MAX_SIDE_PX = 8000
SHARPER = 3  # drawn this much larger, then reduced: thin lines stay smooth


def placed_picture(
    design: Design, px_per_mm: float = 10.0, *, face: str = "bottom", numbers: bool = False
) -> tuple[np.ndarray, Affine]:
    """`picture_of`, with design mm -> its pixels for what is drawn upon it."""
    picture = picture_of(design, px_per_mm, face=face, numbers=numbers)
    return picture, _view(design, px_per_mm, face)[0]


def picture_of(
    design: Design, px_per_mm: float = 10.0, *, face: str = "bottom", numbers: bool = True
) -> np.ndarray:
    """BGR picture, uint8 (H, W, 3), as seen on the given face: "bottom" mirrors x.

    Shows the copper of that face where it is known, else the lands, else bare
    holes. Very large boards come out with fewer pixels per mm.
    """
    to_px, size = _view(design, px_per_mm, face)
    fine = Affine([[SHARPER, 0, (SHARPER - 1) / 2], [0, SHARPER, (SHARPER - 1) / 2]]) @ to_px
    canvas = np.full((size[1] * SHARPER, size[0] * SHARPER, 3), PAPER, np.uint8)
    if design.outline is not None:
        rings = [_px(fine(ring)) for ring in design.outline.rings_mm]
        cv2.fillPoly(canvas, rings[:1], BOARD, cv2.LINE_8, 4)
        cv2.fillPoly(canvas, rings[1:], PAPER, cv2.LINE_8, 4)
    _copper(canvas, design, fine, face)
    if design.outline is not None:
        cv2.polylines(canvas, rings, True, EDGE, SHARPER, cv2.LINE_AA, 4)
    _holes(canvas, design, fine)
    small = cv2.resize(canvas, size, interpolation=cv2.INTER_AREA)
    if numbers:
        _numbers(small, design, to_px)
    return small


def _px(points: np.ndarray) -> np.ndarray:
    return np.round(points * 16).astype(np.int32)


def _view(design: Design, px_per_mm: float, face: str) -> tuple[Affine, tuple[int, int]]:
    """design mm -> picture px, and (width, height) of the picture."""
    if design.outline is not None:
        shown = np.concatenate(design.outline.rings_mm)
    elif len(design.holes):
        shown = design.xy_mm
    else:
        shown = np.zeros((1, 2))
    shown = np.concatenate([shown, design.xy_mm])
    low, high = shown.min(axis=0) - MARGIN_MM, shown.max(axis=0) + MARGIN_MM
    s = min(px_per_mm, MAX_SIDE_PX / SHARPER / float((high - low).max()))
    width, height = (int(v) for v in np.ceil((high - low) * s))
    if face == "bottom":
        to_px = Affine([[-s, 0, s * high[0] - 0.5], [0, -s, s * high[1] - 0.5]])
    else:
        to_px = Affine([[s, 0, -s * low[0] - 0.5], [0, -s, s * high[1] - 0.5]])
    return to_px, (max(1, width), max(1, height))


def _copper(canvas: np.ndarray, design: Design, to_px: Affine, face: str) -> None:
    colour = COPPER_COLOURS.get(face, COPPER_COLOURS["bottom"])
    if face in design.copper:
        copper = design.copper[face]
        matrix = (to_px @ copper.to_design).matrix
        size = (canvas.shape[1], canvas.shape[0])
        mask = cv2.warpAffine(copper.mask, matrix, size, flags=cv2.INTER_LINEAR)
        canvas[mask > 127] = colour
        return
    from drillaid.design.gerber_objects import land_polygon

    for land in filter(None, design.lands):
        cv2.fillPoly(canvas, [_px(to_px(land_polygon(land)))], colour, cv2.LINE_8, 4)


def _holes(canvas: np.ndarray, design: Design, to_px: Affine) -> None:
    scale = abs(to_px.determinant) ** 0.5
    for hole in design.holes:
        ends = to_px(as_points([hole.xy_mm, hole.slot_to_mm or hole.xy_mm]))
        a, b = (tuple(int(v) for v in np.round(end)) for end in ends)
        thick = max(2, round(hole.drill_mm * scale))
        cv2.line(canvas, a, b, INK, thick + SHARPER, cv2.LINE_AA)
        cv2.line(canvas, a, b, HOLE, max(1, thick - SHARPER), cv2.LINE_AA)


def _numbers(picture: np.ndarray, design: Design, to_px: Affine) -> None:
    """Beside each hole, on the side that keeps clear of the others."""
    scale = abs(to_px.determinant) ** 0.5
    height = float(np.clip(0.9 * scale, 7, 18))  # of the digits, px
    places = to_px(design.xy_mm)
    taken: list[tuple[float, float, float, float]] = []
    for hole, (x, y) in zip(design.holes, places, strict=True):
        radius = hole.drill_mm / 2 * scale
        text = str(hole.number)
        font = height / 22
        (w, h), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, font, 1)
        spots = [
            (x + radius + 2, y + h / 2), (x - radius - w - 2, y + h / 2),
            (x - w / 2, y - radius - 3), (x - w / 2, y + radius + h + 3),
        ]  # fmt: skip
        spot = min(spots, key=lambda s: _crowding(s, w, h, places, taken, picture.shape))
        taken.append((spot[0], spot[1] - h, spot[0] + w, spot[1]))
        at = (round(spot[0]), round(spot[1]))
        cv2.putText(picture, text, at, cv2.FONT_HERSHEY_SIMPLEX, font, PAPER, 3, cv2.LINE_AA)
        cv2.putText(picture, text, at, cv2.FONT_HERSHEY_SIMPLEX, font, INK, 1, cv2.LINE_AA)


def _crowding(spot, w, h, places, taken, shape) -> float:
    x0, y0, x1, y1 = spot[0] - 1, spot[1] - h - 1, spot[0] + w + 1, spot[1] + 1
    inside = (places > (x0 - 4, y0 - 4)).all(axis=1) & (places < (x1 + 4, y1 + 4)).all(axis=1)
    cost = 3.0 * np.count_nonzero(inside)
    for a0, b0, a1, b1 in taken:
        if x0 < a1 and a0 < x1 and y0 < b1 and b0 < y1:
            cost += 5
    outside = x0 < 0 or y0 < 0 or x1 > shape[1] or y1 > shape[0]
    return cost + 20 * outside
