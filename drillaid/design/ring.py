"""How much copper a hole leaves round itself, and how far it breaks out of its land."""

from __future__ import annotations

import math

import numpy as np

from drillaid.design.model import Land
from drillaid.geometry import as_points

OCTAGON_CUT = 1 - math.tan(math.pi / 8)  # corner cut of a regular octagon, per half width


def _box_depth(p: np.ndarray, half: np.ndarray) -> np.ndarray:
    gap = p - half
    return -(np.hypot(*np.maximum(gap, 0).T) + np.minimum(gap.max(axis=1), 0))


def _oblong_depth(p: np.ndarray, half: np.ndarray) -> np.ndarray:
    radius = half.min()
    return radius - np.hypot(*np.maximum(p - (half - radius), 0).T)


def _octagon_depth(p: np.ndarray, half: np.ndarray) -> np.ndarray:
    """Exact inside; outside a corner the depth is up to 8 % too shallow (never too good)."""
    cut = half.min() * OCTAGON_CUT
    diagonal = (half.sum() - cut - p.sum(axis=1)) / math.sqrt(2)
    return np.minimum((half - p).min(axis=1), diagonal)


_DEPTH = {"rectangle": _box_depth, "octagon": _octagon_depth}


def depth_mm(land: Land, xy_mm) -> np.ndarray:
    """Distance from each point to the land's edge, positive inside, shape (N,).

    xy_mm: (N, 2) or one pair, design mm. "round" is an oblong of equal sides;
    "other" is taken as the oblong of its size, which promises the least copper.
    """
    c, s = math.cos(land.rotation_rad), math.sin(land.rotation_rad)
    own = np.abs((as_points(xy_mm) - land.centre_mm) @ np.array([[c, -s], [s, c]]))
    return _DEPTH.get(land.shape, _oblong_depth)(own, np.array(land.size_mm) / 2)


def ring_left(land: Land, hole_xy_mm, diameter_mm: float, slot_to_mm=None) -> float:
    """The narrowest copper left round a hole, mm; negative by how far the hole breaks out.

    For a round land of radius A, a hole of radius h and an offset e this is A - h - e.
    slot_to_mm: other end of a slot's centre line. Depth in a convex land is concave
    along a line, so the narrowest place is at one of the two ends.
    """
    ends = [hole_xy_mm] if slot_to_mm is None else [hole_xy_mm, slot_to_mm]
    return float(depth_mm(land, ends).min() - diameter_mm / 2)


def breakout_deg(land_radius_mm: float, hole_radius_mm: float, offset_mm: float) -> float:
    """How much of the hole's edge lies outside a round land: 0 … 360, seen from the hole's centre.

    2 acos((A² - e² - h²) / (2 e h)) by the cosine rule on the triangle of the two
    centres and a crossing of the two circles; 0 while e <= A - h.
    """
    a, h, e = land_radius_mm, hole_radius_mm, abs(offset_mm)
    if min(a, h) <= 0:
        raise ValueError("land and hole need a radius above zero")
    if e <= a - h:
        return 0.0
    if e <= h - a or e >= a + h:  # the hole takes the whole land, or misses it
        return 360.0
    cosine = (a * a - e * e - h * h) / (2 * e * h)
    return math.degrees(2 * math.acos(max(-1.0, min(1.0, cosine))))


def land_breakout_deg(land: Land, hole_xy_mm, diameter_mm: float, steps: int = 1440) -> float:
    """The same for a land of any shape, by asking `steps` points of the hole's edge."""
    turn = np.arange(steps) * (2 * math.pi / steps)
    edge = as_points(hole_xy_mm) + diameter_mm / 2 * np.column_stack([np.cos(turn), np.sin(turn)])
    return float(np.count_nonzero(depth_mm(land, edge) < -1e-9) * 360 / steps)
