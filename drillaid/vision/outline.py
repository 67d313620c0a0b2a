"""Does a board lie in the picture? Its outline tells, whatever is etched on it.

Two ways, because each fails where the other works. A region without edges, or with
edges only inside it, that is convex and bounded by a few straight sides is a board's
face. Where bench or copper break that region up, long straight borders at about right
angles are left, with another colour on one side than on the other; grain, pencil
lines and wires have the same on both.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.vision.quality import WHITE
from drillaid.vision.sampling import sample

REGION_PX = 480  # longer side of the picture in which regions are looked for
LEVELS = (2.0, 3.0, 5.0, 8.0, 12.0, 18.0)  # gradients that bound a region, grey levels per px
SMALLEST, LARGEST = 0.06, 0.93  # of the picture
CONVEX, MOST_CORNERS = 0.92, 6
PLAIN = 0.955  # of a bare side's region is free of edges; a bit or a chuck may stand in it
QUIET = 4.0  # grey levels per px that only copper, swarf and marks pass on a board
STEP = 8.0  # difference of colour across a border, grey levels
SHORTEST_PX = 110
WIDE_PX, NARROW_PX = (5, 9), (2, 5)  # where colours beside a border are taken
NARROW_STEP = 12.0
SOFT_SHARE, SOFT_RATIO = 0.055, 1.4  # of wide borders in the picture, and to the narrow ones


@dataclass(frozen=True)
class Region:
    """convex: area over that of its hull; area: share of the picture; corners: of its hull;
    plain: share of it without edges; sides: how many of the picture's it reaches;
    busy: share of its inside where more changes than on a bare laminate
    burnt: share of it that is white
    """

    convex: float
    area: float
    corners: int
    plain: float
    sides: int
    busy: float
    burnt: float = 0.0

    @property
    def straight_sided(self) -> bool:
        return self.convex >= CONVEX and self.corners <= MOST_CORNERS and self.sides <= 3


def board_region(small: np.ndarray) -> Region | None:
    """The likeliest face of a board; small: uint8 BGR (H, W, 3)."""
    factor = REGION_PX / max(small.shape[:2])
    coarse = cv2.resize(small, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    slope = _slope(cv2.GaussianBlur(cv2.medianBlur(coarse, 5), (0, 0), 1.0))
    white = np.sort(coarse, axis=2)[:, :, 1] >= WHITE
    found = []
    for level in LEVELS:
        flat = (slope < level).astype(np.uint8)
        count, labels, stats, _ = cv2.connectedComponentsWithStats(flat, connectivity=4)
        for k in range(1, count):
            if stats[k, cv2.CC_STAT_AREA] >= 0.5 * SMALLEST * flat.size:
                region = _region((labels == k).astype(np.uint8), slope, white)
                if SMALLEST <= region.area <= LARGEST:
                    found.append(region)
    straight = [r for r in found if r.straight_sided]
    if not straight:
        return None
    # The most telling: a plain one before one with edges, then the most convex.
    return max(straight, key=lambda r: (r.convex >= 0.97, r.convex * r.area**0.25))


def _slope(picture: np.ndarray) -> np.ndarray:
    """The steepest of the three colours' gradients, grey levels per px."""
    dx = cv2.Scharr(picture, cv2.CV_32F, 1, 0, scale=1 / 32)
    dy = cv2.Scharr(picture, cv2.CV_32F, 0, 1, scale=1 / 32)
    return np.sqrt((dx * dx + dy * dy).max(axis=2))


def _region(mask: np.ndarray, slope: np.ndarray, white: np.ndarray) -> Region:
    contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = max(contours, key=cv2.contourArea)
    area = max(cv2.contourArea(contour), 1.0)
    hull = cv2.convexHull(contour)
    corners = cv2.approxPolyDP(hull, 0.02 * cv2.arcLength(hull, True), True)
    x, y, width, height = cv2.boundingRect(contour)
    rows, columns = mask.shape
    sides = (x <= 1) + (y <= 1) + (x + width >= columns - 1) + (y + height >= rows - 1)
    filled = cv2.fillPoly(np.zeros_like(mask), [contour], 1)
    inside = cv2.erode(filled, np.ones((9, 9), np.uint8), borderValue=0)
    busy = float((slope[inside > 0] > QUIET).mean()) if inside.any() else 1.0
    return Region(
        area / max(cv2.contourArea(hull), 1.0),
        area / mask.size,
        len(corners),
        float(mask.sum() / max(filled.sum(), 1)),
        int(sides),
        busy,
        float(white[filled > 0].mean()) if filled.any() else 0.0,
    )


@dataclass(frozen=True)
class Borders:
    """Borders between two colours.

    corner_px: the shorter of the two longest straight ones at nearly right angles, 0: none
    order: share of the straight narrow ones in the commonest direction, modulo 45 degrees
    soft: patches of light or shade without sharp borders are all over the picture
    """

    corner_px: float
    order: float
    soft: bool


def borders_of(small: np.ndarray) -> Borders:
    """Straight, orderly and soft borders; small: uint8 BGR (H, W, 3)."""
    slope = _colour_slope(small)
    wide = _borders(small, *slope, WIDE_PX, STEP)
    narrow = _borders(small, *slope, NARROW_PX, NARROW_STEP)
    much, little = float((wide > 0).mean()), float((narrow > 0).mean())
    soft = much >= SOFT_SHARE and much >= SOFT_RATIO * little
    lines = _straight(wide, slope[1])
    return Borders(corner_length(lines), _order(narrow, slope[1]), soft)


def _straight(borders: np.ndarray, angle: np.ndarray) -> list[tuple[float, float]]:
    """(length px, direction rad modulo half a turn) of straight borders."""
    found = cv2.HoughLinesP(
        borders, 1, np.pi / 360, 60, minLineLength=SHORTEST_PX, maxLineGap=10
    )
    if found is None:
        return []
    height, width = borders.shape
    lines = []
    for x0, y0, x1, y1 in found.reshape(-1, 4).astype(np.float64):
        length = float(np.hypot(x1 - x0, y1 - y0))
        t = np.linspace(0.0, 1.0, int(length))
        column = np.clip((x0 + t * (x1 - x0)).astype(int), 0, width - 1)
        row = np.clip((y0 + t * (y1 - y0)).astype(int), 0, height - 1)
        normal = np.arctan2(x1 - x0, y0 - y1)
        # A row of chance points has normals of all directions.
        if (np.abs(np.cos(angle[row, column] - normal)) > 0.98).mean() > 0.7:
            lines.append((length, float(np.arctan2(y1 - y0, x1 - x0) % np.pi)))
    return lines


def _order(borders: np.ndarray, angle: np.ndarray) -> float:
    """Of the border points that continue straight, the share within 2.5 degrees of one direction."""
    there = (borders > 0).astype(np.float32)
    around = [
        cv2.GaussianBlur(part, (0, 0), 5.0)
        for part in (there, there * np.cos(2 * angle), there * np.sin(2 * angle))
    ]
    row, column = np.nonzero(borders)
    total, c, s = (part[row, column] for part in around)
    straight = np.hypot(c, s) > 0.9 * total
    if straight.sum() < 200:
        return 0.0
    degrees = np.degrees(angle[row, column][straight]) % 45.0
    counts = np.bincount(np.minimum(degrees.astype(int), 44), minlength=45)
    near = sum(np.roll(counts, k) for k in range(-2, 3))
    return float(near.max() / counts.sum())


def _colour_slope(small: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(size, direction rad) of the steepest change of colour, each (H, W).

    The direction is that of the largest eigenvalue of the sum of the colours' gradient
    tensors (S. Di Zenzo, CVGIP 33, 1986; from memory).
    """
    soft = cv2.GaussianBlur(small, (0, 0), 2.0)
    dx = cv2.Scharr(soft, cv2.CV_32F, 1, 0, scale=1 / 32)
    dy = cv2.Scharr(soft, cv2.CV_32F, 0, 1, scale=1 / 32)
    xx, yy, xy = (dx * dx).sum(axis=2), (dy * dy).sum(axis=2), (dx * dy).sum(axis=2)
    size = np.sqrt((xx + yy + np.hypot(xx - yy, 2 * xy)) / 2)
    return size, np.arctan2(2 * xy, xx - yy) / 2


def _borders(small, size, angle, beside_px, least: float) -> np.ndarray:
    """uint8 (H, W), 255 on thin borders whose colours differ by `least` on their two sides."""
    row, column = np.nonzero(size > 1.0)
    px = np.column_stack([column, row]).astype(np.float32)
    turn = angle[row, column]
    normal = np.column_stack([np.cos(turn), np.sin(turn)])
    here = size[row, column]
    crest = (here >= sample(size, px + normal)) & (here > sample(size, px - normal))
    px, normal = px[crest], normal[crest]
    mean = cv2.blur(small, (5, 5)).astype(np.float32)
    one = [sample(mean, px + d * normal) for d in beside_px]
    other = [sample(mean, px - d * normal) for d in beside_px]
    step = np.full(len(px), np.inf)
    for a in one:
        for b in other:
            step = np.minimum(step, np.linalg.norm(a - b, axis=1) / np.sqrt(3))
    borders = np.zeros(small.shape[:2], np.uint8)
    kept = px[step > least].astype(int)
    borders[kept[:, 1], kept[:, 0]] = 255
    return borders


def corner_length(lines: list[tuple[float, float]], least_deg: float = 60.0) -> float:
    """The shorter of the two longest borders that cross at nearly right angles, px; 0: none."""
    best = 0.0
    for i, (length, angle) in enumerate(lines):
        for other_length, other in lines[:i]:
            between = abs((angle - other + np.pi / 2) % np.pi - np.pi / 2)
            if np.degrees(between) >= least_deg:
                best = max(best, min(length, other_length))
    return best
