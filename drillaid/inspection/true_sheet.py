"""A board as it truly came out, at true scale on paper: its holes and its edge.

For lining up a printed legend or the second side's artwork. The print's own stretch and
shear are kept, the turn on the bench is not: the design's x axis lies along the paper.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path as FilePath

import cv2
import numpy as np

from drillaid.errors import UsageError
from drillaid.files import write_whole
from drillaid.geometry import Affine, as_points
from drillaid.inspection.check import Check
from drillaid.inspection.result import DRILLED
from drillaid.paper.page import A3_MM, A4_MM, BLACK, GREY, Disc, Page, Path, Photo, Words, line
from drillaid.paper.pdf import pdf_of
from drillaid.paper.svg import svg_of

MARGIN_MM, RULER_MM, FOOT_MM = 12.0, 100.0, 26.0
SIDES = ("top", "bottom")


@dataclass(frozen=True)
class Legend:
    """The user's own picture. box_mm: (x0, y0, x1, y1), the design rectangle it fills as seen
    from the top, None for the board's own"""

    path: str
    box_mm: tuple[float, float, float, float] | None = None


def true_shape(check: Check) -> Affine:
    """design mm -> true mm of this board, the design's x axis along x, y up, never mirrored.

    The linear part of the placement is R U M (see `geometry.Affine`); without its turn and
    seen from the component side that is M U M, so a mirrored board's shear changes its sign.
    """
    matrix = check.registration.placement.matrix
    if matrix is None or not check.registration.placement.on_bench:
        raise UsageError(
            "without a rig file nobody knows how large the board truly is",
            remedy="photograph it on a calibrated rig",
        )
    return Affine.from_parts(
        scale=matrix.scale, shear=-matrix.shear if matrix.mirrored else matrix.shear
    )


def true_holes_mm(check: Check) -> tuple[np.ndarray, np.ndarray]:
    """((N, 2) places in the true shape's mm, (N,) bool: measured there; else where it belongs)."""
    placement, design = check.registration.placement, check.job.design
    shape = true_shape(check)
    places = shape(design.xy_mm)
    from_bench = shape @ placement.matrix.inverse
    measured = np.zeros(len(places), bool)
    for row, hole in enumerate(check.inspection.holes):
        if hole.state == DRILLED and hole.centre_mm is not None:
            places[row] = from_bench([hole.centre_mm])[0]
            measured[row] = True
    return places, measured


def true_sheet(
    check: Check, *, side: str = "top", mirrored: bool = False, legend: Legend | None = None
) -> Page:
    """side: the one it is seen from; mirrored: for printing on film or for transfer by heat."""
    if side not in SIDES:
        raise UsageError(f"the side is '{side}'", remedy="give top or bottom")
    design, shape = check.job.design, true_shape(check)
    places, measured = true_holes_mm(check)
    outline = None if design.outline is None else [shape(r) for r in design.outline.rings_mm]
    shown = np.concatenate([places, *(outline or [])])
    low, high = shown.min(axis=0), shown.max(axis=0)
    page = _paper(high - low)
    flip = (side == "bottom") != mirrored
    corner = np.array([(page.width_mm - (high - low)[0]) / 2, MARGIN_MM])
    to_page = Affine(
        [[-1.0, 0.0, corner[0] + high[0]], [0.0, -1.0, corner[1] + high[1]]]
        if flip
        else [[1.0, 0.0, corner[0] - low[0]], [0.0, -1.0, corner[1] + high[1]]]
    )
    if legend is not None:
        page.add(_legend(legend, check, to_page @ shape))
    if outline is not None:
        page.add(Path(tuple(to_page(ring) for ring in outline), width_mm=0.15))
    for (x, y), hole, there in zip(to_page(places), check.inspection.holes, measured, strict=True):
        size = hole.diameter_mm if there and hole.diameter_mm else hole.asked_mm
        page.add(Disc(x, y, size / 2, line=BLACK if there else GREY, width_mm=0.1))
        arm = 0.35 * size
        for dx, dy in ((arm, 0.0), (0.0, arm)):
            page.add(line(x - dx, y - dy, x + dx, y + dy, 0.06))
    _foot(page, check, side, mirrored, int((~measured).sum()))
    return page


def _paper(board_mm: np.ndarray) -> Page:
    """The smallest usual sheet that takes the board and the rulers, or one made to measure."""
    need = board_mm + [2 * MARGIN_MM + 12, 2 * MARGIN_MM + FOOT_MM]
    need[0] = max(need[0], RULER_MM + 2 * MARGIN_MM + 12)
    for width, height in (A4_MM, A4_MM[::-1], A3_MM, A3_MM[::-1]):
        if need[0] <= width and need[1] <= height:
            return Page(width, height)
    return Page(float(need[0]), float(need[1]))


def _foot(page: Page, check: Check, side: str, mirrored: bool, unseen: int) -> None:
    """Rulers along both edges, and what the sheet is."""
    base = page.height_mm - MARGIN_MM
    left = MARGIN_MM + 8
    for k in range(int(RULER_MM) + 1):
        tall = 4.0 if k % 10 == 0 else 2.6 if k % 5 == 0 else 1.6
        page.add(line(left + k, base, left + k, base - tall, 0.12))
        if k <= 50:
            page.add(line(MARGIN_MM, base - k, MARGIN_MM + tall, base - k, 0.12))
        if k % 20 == 0:
            page.add(Words(left + k, base + 3.2, 2.6, str(k), align="middle"))
    page.add(
        line(left, base, left + RULER_MM, base, 0.12),
        line(MARGIN_MM, base, MARGIN_MM, base - 50, 0.12),
    )
    sx, sy = check.registration.placement.matrix.scale
    error = check.registration.placement.expected_error_mm
    error = float(np.median(error[np.isfinite(error)]))
    told = [
        f"{check.job.name}: seen from the {side}" + (", MIRRORED for transfer" if mirrored else ""),
        f"True scale: the rulers must measure 100 mm and 50 mm. This board came out "
        f"{100 * sx:.2f} x {100 * sy:.2f} % of its design; holes known to about {error:.3f} mm.",
    ]
    if unseen:
        told.append(f"Grey: not measured ({unseen}), drawn where they belong.")
    for k, words in enumerate(told):
        page.add(Words(left, base - 16 + 3.8 * k, 2.7, words, bold=k == 0))


def _legend(legend: Legend, check: Check, design_to_page: Affine) -> Photo:
    from drillaid.rig.pictures import read_picture

    picture = read_picture(legend.path)
    done, data = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 95])
    if not done:
        raise UsageError("the legend's picture cannot be packed", file=legend.path)
    x0, y0, x1, y1 = legend.box_mm or _box(check)
    if not (x1 > x0 and y1 > y0):
        raise UsageError(
            f"the legend's box {x0:g},{y0:g},{x1:g},{y1:g} has no inside",
            remedy="give left, lower, right, upper in design mm",
        )
    # The unit square's (0, 0) is the picture's upper left corner: (x0, y1) of the box.
    unit = Affine([[x1 - x0, 0.0, x0], [0.0, y0 - y1, y1]])
    height, width = picture.shape[:2]
    return Photo(data.tobytes(), width, height, (design_to_page @ unit).matrix)


def _box(check: Check) -> tuple[float, float, float, float]:
    design = check.job.design
    ring = design.xy_mm if design.outline is None else design.outline.rings_mm[0]
    (x0, y0), (x1, y1) = as_points(ring).min(axis=0), as_points(ring).max(axis=0)
    return float(x0), float(y0), float(x1), float(y1)


def write_sheet(page: Page, path: str | FilePath, title: str) -> None:
    """By the name's end: .pdf or .svg. Raises UsageError, StorageError."""
    suffix = FilePath(path).suffix.lower()
    if suffix == ".pdf":
        write_whole(path, pdf_of([page], title))
    elif suffix == ".svg":
        write_whole(path, svg_of(page, title))
    else:
        raise UsageError(
            f"--out {path} names no format known here", remedy="end it in .pdf or .svg"
        )
