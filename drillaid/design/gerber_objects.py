"""What a Gerber layer draws, as plain geometry in design mm."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np

from drillaid.design.model import Land

CHORD_MM = 0.001  # arcs become polygons that stay this close
ROUND_FILL, OCTAGON_FILL = math.pi / 4, 2 * (math.sqrt(2) - 1)  # area per bounding square


@dataclass(frozen=True, eq=False)
class Piece:
    """One filled polygon (M, 2); `holes` are left open, not erased; clear pieces erase."""

    dark: bool
    polygon: np.ndarray
    holes: tuple[np.ndarray, ...] = ()


@dataclass(frozen=True)
class Pad:
    """A shape that may be the land of a hole: kind "flash", "stroke" or "region".

    shape, size_mm, rotation_rad, centre_mm: as in `model.Land`
    hole_mm: opening drawn into the shape itself, 0 where there is none
    solidity: area over the area of the convex hull, 1 for a convex shape
    """

    kind: str
    shape: str
    size_mm: tuple[float, float]
    rotation_rad: float
    centre_mm: tuple[float, float]
    hole_mm: float = 0.0
    solidity: float = 1.0

    @property
    def land(self) -> Land:
        return Land(self.shape, self.size_mm, self.rotation_rad, self.centre_mm)


@dataclass(frozen=True, eq=False)
class Drawn:
    """One object in drawing order; dark objects add copper, the others take it away.

    path_mm, width_mm: a stroke's centre line (M, 2) and pen width; else None and 0
    pad: the object seen as a land, or None where it cannot be one
    """

    kind: str
    dark: bool
    pieces: tuple[Piece, ...]
    path_mm: np.ndarray | None = None
    width_mm: float = 0.0
    pad: Pad | None = None

    def bounds(self) -> tuple[np.ndarray, np.ndarray]:
        """Lowest and highest (x, y) of everything drawn."""
        points = np.concatenate([p.polygon for p in self.pieces])
        return points.min(axis=0), points.max(axis=0)


def circle(centre, diameter: float) -> np.ndarray:
    """Polygon (M, 2), counter-clockwise, not closed."""
    return _circle(diameter) + np.asarray(centre, float)


@lru_cache(maxsize=256)
def _circle(diameter: float) -> np.ndarray:
    return arc((diameter / 2, 0), None, (0, 0), clockwise=False)[:-1]


def arc(start, end, centre, *, clockwise: bool) -> np.ndarray:
    """Points from start to end round centre; end None or the same as start is a full circle.

    Where the file's rounding makes the radii differ, the radius changes evenly.
    """
    centre = np.asarray(centre, float)
    first = np.asarray(start, float) - centre
    last = first if end is None else np.asarray(end, float) - centre
    radii = np.hypot(*first), np.hypot(*last)
    begin, stop = math.atan2(first[1], first[0]), math.atan2(last[1], last[0])
    turn = (begin - stop if clockwise else stop - begin) % (2 * math.pi)
    if np.hypot(*(last - first)) < 1e-9:
        turn = 2 * math.pi
    radius = max(radii)
    step = 2 * math.acos(1 - CHORD_MM / radius) if radius > CHORD_MM else math.pi / 2
    n = int(np.clip(math.ceil(turn / step), 2, 2000))
    at = begin + np.linspace(0, -turn if clockwise else turn, n + 1)
    along = np.linspace(*radii, n + 1)[:, None]
    points = centre + along * np.column_stack([np.cos(at), np.sin(at)])
    points[0] = start
    points[-1] = start if end is None else end
    return points


def box(width: float, height: float) -> np.ndarray:
    """Upright rectangle round the origin, (4, 2), counter-clockwise."""
    return np.array([[-width, -height], [width, -height], [width, height], [-width, height]]) / 2


def regular(diameter: float, corners: int, rotation_rad: float) -> np.ndarray:
    """Regular polygon round the origin; diameter over its corners, the first at the rotation."""
    at = rotation_rad + np.arange(corners) * (2 * math.pi / corners)
    return diameter / 2 * np.column_stack([np.cos(at), np.sin(at)])


def rotated(points: np.ndarray, angle_rad: float) -> np.ndarray:
    """Points (N, 2) turned counter-clockwise round the origin."""
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return points @ np.array([[c, s], [-s, c]])


def hull(points: np.ndarray) -> np.ndarray:
    """Convex hull (M, 2), in single precision: for points near the origin."""
    return cv2.convexHull(points.astype(np.float32)).reshape(-1, 2).astype(float)


def stroke_pieces(path: np.ndarray, tip: np.ndarray, *, dark: bool = True) -> tuple[Piece, ...]:
    """The area a convex tip (M, 2), centred on the pen, sweeps along the path."""
    if len(path) == 1 or np.ptp(path, axis=0).max() == 0:
        return (Piece(dark, tip + path[0]),)
    return tuple(
        Piece(dark, _convex_hull64(np.concatenate([tip + a, tip + b])))
        for a, b in zip(path[:-1], path[1:], strict=True)
        if (a != b).any()
    )


def _convex_hull64(points: np.ndarray) -> np.ndarray:
    """Hull by index, so that coordinates keep their full precision."""
    middle = points.mean(axis=0)
    index = cv2.convexHull((points - middle).astype(np.float32), returnPoints=False)
    return points[index.ravel()]


def area(polygon: np.ndarray) -> float:
    """Signed area, positive counter-clockwise."""
    x, y = (polygon - polygon[0]).T
    return float(x[:-1] @ y[1:] - x[1:] @ y[:-1]) / 2  # the closing edge meets the origin


def pad_of(kind: str, pieces: tuple[Piece, ...], *, hole_mm: float = 0.0) -> Pad | None:
    """Reads shape and size off the convex hull of what is drawn dark."""
    dark = [p.polygon for p in pieces if p.dark]
    if not dark:
        return None
    points = np.concatenate(dark)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2
    outline = hull(points - middle)
    if len(outline) < 3:
        return None
    (cx, cy), (w, h), degrees = cv2.minAreaRect(outline.astype(np.float32))
    if min(w, h) < 1e-3:
        return None
    if w < h:
        w, h, degrees = h, w, degrees + 90
    covered = abs(area(outline))
    solidity = abs(area(dark[0])) / covered if len(dark) == 1 else 1.0
    shape = _shape(w, h, covered / (w * h))
    turn = {"round": 1e-9, "octagon": 45.0}.get(shape, 180.0)  # after which it looks the same
    angle = math.radians(degrees % turn) if shape != "round" else 0.0
    if shape == "rectangle" and abs(angle - math.pi / 2) < 1e-4:
        w, h, angle = h, w, 0.0  # upright: width along x
    centre = (float(middle[0] + cx), float(middle[1] + cy))
    return Pad(kind, shape, (float(w), float(h)), angle, centre, hole_mm, float(min(1, solidity)))


def _shape(w: float, h: float, fill: float) -> str:
    """w >= h; fill is the share of the bounding rectangle that is covered."""
    square = w / h < 1.02
    if square and abs(fill - ROUND_FILL) < 0.015:
        return "round"
    if square and abs(fill - OCTAGON_FILL) < 0.015:
        return "octagon"
    if not square and abs(fill - (1 - (1 - ROUND_FILL) * h / w)) < 0.015:
        return "oblong"
    return "rectangle" if fill > 0.88 else "other"


def land_polygon(land: Land) -> np.ndarray:
    """A land's edge as a polygon (M, 2), design mm."""
    w, h = land.size_mm
    if land.shape == "rectangle":
        own = box(w, h)
    elif land.shape == "octagon":
        own = regular(1 / math.cos(math.pi / 8), 8, math.pi / 8) * (w, h)
    else:
        short = min(w, h)
        ends = np.array([[w - short, h - short], [short - w, short - h]]) / 2
        own = stroke_pieces(ends, circle((0, 0), short))[0].polygon
    return rotated(own, land.rotation_rad) + land.centre_mm
