"""The copper round each hole: from flashes, from drawn pads, else from the picture."""

from __future__ import annotations

import math
from collections.abc import Sequence

import cv2
import numpy as np

from drillaid.design.gerber import CopperLayer
from drillaid.design.gerber_objects import Pad
from drillaid.design.model import Copper, Hole, Land
from drillaid.design.ring import depth_mm

# A drawn shape counts as a pad when it is compact: a track or a pour round the hole is none.
LONGEST_STROKE = 3.0  # length over width
LARGEST_DRAWN_MM = 12.0
SOLID = 0.95
ALL_ROUND = 0.96  # share of a circle that must be copper to call it closed
POUR_GAP_MM, POUR_SHARE = 0.3, 0.9
FARTHEST_MM = 2.0  # beyond the hole's edge copper is a pour


def lands_at(holes: Sequence[Hole], layer: CopperLayer) -> tuple[Land | None, ...]:
    """The land of each hole on this layer, None where there is no copper to drill through.

    A flash that holds the hole's middle wins (the nearest centre); then a pad drawn
    as a short fat line or as a filled outline; else the widest circle of copper
    round the hole in the picture. A slot needs both its ends inside.
    """
    flashes = [p for p in layer.pads if p.kind == "flash"]
    drawn = [p for p in layer.pads if p.kind != "flash" and _compact(p)]
    near = _Near(flashes), _Near(drawn)
    return tuple(_land(hole, *near, layer.copper) for hole in holes)


class _Near:
    """Picks the pads whose extent may reach a point, nearest first."""

    def __init__(self, pads: list[Pad]) -> None:
        self.pads = pads
        self.centres = np.array([pad.centre_mm for pad in pads]).reshape(-1, 2)
        self.reach = np.array([max(pad.size_mm) for pad in pads])

    def to(self, point) -> list[Pad]:
        distance = np.hypot(*(self.centres - point).T)
        index = np.flatnonzero(distance <= self.reach)
        return [self.pads[i] for i in index[np.argsort(distance[index], kind="stable")]]


def _compact(pad: Pad) -> bool:
    long, short = max(pad.size_mm), min(pad.size_mm)
    if pad.kind == "stroke":
        return long <= LONGEST_STROKE * short
    return long <= LARGEST_DRAWN_MM and pad.solidity >= SOLID


def _land(hole: Hole, flashes: _Near, drawn: _Near, copper: Copper) -> Land | None:
    ends = [hole.xy_mm] if hole.slot_to_mm is None else [hole.xy_mm, hole.slot_to_mm]
    middle = np.mean(ends, axis=0)
    pad = _covering(flashes.to(middle), ends, middle)
    pad = pad or _drawn_pad(drawn.to(middle), ends, middle, hole.drill_mm)
    if pad is None:
        return _from_picture(copper, middle, ends, hole.drill_mm)
    land = pad.land
    if _in_pour(copper, land):
        land = Land(land.shape, land.size_mm, land.rotation_rad, land.centre_mm, in_pour=True)
    return land


def _covering(pads: list[Pad], ends, middle) -> Pad | None:
    """The nearest centre; of several at one place the one that leaves most copper."""
    best, key = None, (math.inf, 0.0)
    for pad in pads:
        depth = float(depth_mm(pad.land, ends).min())
        rank = (round(math.dist(pad.centre_mm, middle), 2), -depth)
        if depth > 0 and rank < key:
            best, key = pad, rank
    return best


def _drawn_pad(pads: list[Pad], ends, middle, drill_mm: float) -> Pad | None:
    """A track that merely ends at the hole is no pad: the hole must sit well inside."""
    wide = [
        p
        for p in pads
        if min(p.size_mm) > drill_mm
        and math.dist(p.centre_mm, middle) <= max(0.1, 0.3 * max(p.size_mm))
    ]
    return _covering(wide, ends, middle)


# -- from the picture ---------------------------------------------------------------------


def _copper_share(copper: Copper, xy_mm: np.ndarray) -> float:
    """Share of the points xy_mm (N, 2) that lie on copper; outside the picture is bare."""
    px = copper.to_design.inverse(xy_mm).astype(np.float32)
    picked = cv2.remap(copper.mask, px[None], None, cv2.INTER_LINEAR, borderValue=0)
    return float(np.count_nonzero(picked > 127) / picked.size)


def _round(centre, radius: float) -> np.ndarray:
    turn = np.arange(120) * (2 * math.pi / 120)
    return np.asarray(centre) + radius * np.column_stack([np.cos(turn), np.sin(turn)])


def _along(land: Land, beyond_mm: float) -> np.ndarray:
    """Points round the land, this far outside its edge, in its own axes then turned."""
    half = np.array(land.size_mm) / 2
    radius = half.min() if land.shape != "rectangle" else 0.0
    points = []
    for sx, sy in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
        corner = (half - radius) * (sx, sy)
        start = math.atan2(sy, sx) - math.pi / 4
        turn = start + np.linspace(0, math.pi / 2, 9)
        reach = radius + beyond_mm
        points.append(corner + reach * np.column_stack([np.cos(turn), np.sin(turn)]))
    ring = np.concatenate(points)
    ring = np.vstack([ring, ring[:1]])
    step = np.hypot(*np.diff(ring, axis=0).T)
    at = np.linspace(0, step.sum(), 161)[:-1]
    walked = np.concatenate([[0], np.cumsum(step)])
    evenly = np.column_stack([np.interp(at, walked, ring[:, k]) for k in (0, 1)])
    c, s = math.cos(land.rotation_rad), math.sin(land.rotation_rad)
    return evenly @ np.array([[c, s], [-s, c]]) + land.centre_mm


def _in_pour(copper: Copper, land: Land) -> bool:
    """Copper all round the land with no clearance: spokes or one track do not count."""
    gaps = (POUR_GAP_MM / 3, 2 * POUR_GAP_MM / 3, POUR_GAP_MM)
    return all(_copper_share(copper, _along(land, gap)) >= POUR_SHARE for gap in gaps)


def _from_picture(copper: Copper, middle, ends, drill_mm: float) -> Land | None:
    """The widest circle round each end that is all copper; an oblong joins two ends.

    Comes out up to 0.06 mm too small in diameter, not too large. The disc of the
    hole itself does not count: exporters leave it open as often as not.
    """
    step = 0.25 / copper.px_per_mm
    reach = [_reach(copper, end, drill_mm / 2, step) for end in ends]
    if min(reach) <= drill_mm / 2:
        return None
    width = 2 * min(reach)
    in_pour = min(reach) >= drill_mm / 2 + FARTHEST_MM
    if len(ends) == 1:
        return Land("round", (width, width), 0.0, tuple(map(float, middle)), in_pour)
    along = np.subtract(ends[1], ends[0])
    length = float(np.hypot(*along)) + width
    turn = math.atan2(along[1], along[0])
    return Land("oblong", (length, width), turn, tuple(map(float, middle)), in_pour)


def _reach(copper: Copper, centre, start: float, step: float) -> float:
    radius = start + step
    while radius <= start + FARTHEST_MM:
        if _copper_share(copper, _round(centre, radius)) < ALL_ROUND:
            return radius - step
        radius += step
    return start + FARTHEST_MM
