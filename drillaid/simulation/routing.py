"""Tracks between pads: doglegs at 45 degrees that keep clear of foreign copper.

No router for real work: it draws what the eye and the vision code meet on an
etched board, and leaves a net open where nothing simple fits.
"""

from __future__ import annotations

import cv2
import numpy as np

from drillaid.design.model import Land
from drillaid.simulation.artwork import Track

_PX_PER_MM = 6.0


def doglegs(a, b) -> list[np.ndarray]:
    """Paths of one diagonal and one or two straight legs from a to b, each (M, 2)."""
    a, b = np.asarray(a, float), np.asarray(b, float)
    d = b - a
    straight = abs(d[0]) - abs(d[1])
    diagonal = np.sign(d) * min(abs(d))
    leg = d - diagonal
    if abs(straight) < 1e-6 or np.min(np.abs(d)) < 1e-6:
        return [np.array([a, b])]
    return [
        np.array([a, a + leg, b]),
        np.array([a, a + diagonal, b]),
        np.array([a, a + leg / 2, a + leg / 2 + diagonal, b]),
        np.array([a, [b[0], a[1]], b]),
        np.array([a, [a[0], b[1]], b]),
    ]


class Router:
    """Keeps a coarse picture of which net owns which place.

    box_mm: (x0, y0, x1, y1) inside which copper may lie.
    """

    def __init__(self, box_mm, clearance_mm: float = 0.35):
        self._origin = np.array(box_mm[:2])
        width, height = (np.array(box_mm[2:]) - self._origin) * _PX_PER_MM
        self._owner = np.zeros((int(height) + 2, int(width) + 2), np.int32)
        self.clearance_mm = clearance_mm
        self.net_of: list[int] = []
        self.tracks: list[Track] = []
        self.track_net: list[int] = []

    def _px(self, xy) -> np.ndarray:
        return np.rint((np.asarray(xy) - self._origin) * _PX_PER_MM).astype(np.int32)

    def block(self, xy, radius_mm: float) -> None:
        """Nothing may run here: a hole without copper."""
        centre = tuple(int(v) for v in self._px(xy))
        cv2.circle(self._owner, centre, int(np.ceil(radius_mm * _PX_PER_MM)), -1, -1)

    def add_land(self, land: Land) -> int:
        """Each land starts as its own net; returns the land's index."""
        net = len(self.net_of) + 1
        self.net_of.append(net)
        w, h = np.array(land.size_mm) + 2 * self.clearance_mm
        c, s = np.cos(land.rotation_rad), np.sin(land.rotation_rad)
        corners = np.array([[-w, -h], [w, -h], [w, h], [-w, h]]) / 2 @ np.array([[c, s], [-s, c]])
        cv2.fillConvexPoly(self._owner, self._px(corners + land.centre_mm), net)
        return net - 1

    def connect(self, a: int, b: int, lands: list[Land], width_mm: float) -> bool:
        """Draws the first dogleg that fits between two lands and joins their nets."""
        if self.net_of[a] == self.net_of[b]:
            return False
        for path in doglegs(lands[a].centre_mm, lands[b].centre_mm):
            if self._fits(path, width_mm, {0, self.net_of[a], self.net_of[b]}):
                self._lay(path, width_mm, self.net_of[a])
                self._merge(self.net_of[a], self.net_of[b])
                return True
        return False

    def stroke(self, path, width_mm: float) -> bool:
        """A track that joins nothing (lettering); False where there is no room."""
        net = 1_000_000 + len(self.tracks)
        if not self._fits(np.asarray(path), width_mm + 0.6, {0}):
            return False
        self._lay(path, width_mm, net)
        return True

    def free_box(self, box_mm) -> bool:
        (c0, r0), (c1, r1) = self._px(box_mm[:2]), self._px(box_mm[2:])
        height, width = self._owner.shape
        if c0 < 0 or r0 < 0 or c1 >= width or r1 >= height:
            return False
        return not self._owner[r0:r1, c0:c1].any()

    def _fits(self, path, width_mm: float, allowed: set[int]) -> bool:
        px = self._px(path)
        height, width = self._owner.shape
        margin = int(np.ceil(width_mm * _PX_PER_MM / 2)) + 1
        low, high = px.min(axis=0) - margin, px.max(axis=0) + margin + 1
        if (low < 0).any() or high[0] > width or high[1] > height:
            return False
        part = self._owner[low[1] : high[1], low[0] : high[0]]
        drawn = np.zeros(part.shape, np.uint8)
        thick = max(1, int(round(width_mm * _PX_PER_MM)))
        cv2.polylines(drawn, [px - low], False, 1, thick)
        return set(np.unique(part[drawn > 0]).tolist()) <= allowed

    def _lay(self, path, width_mm: float, net: int) -> None:
        thick = int(round((width_mm + 2 * self.clearance_mm) * _PX_PER_MM))
        # Foreign cells within the clearance stay foreign: only free ones are taken.
        drawn = np.zeros(self._owner.shape, np.uint8)
        cv2.polylines(drawn, [self._px(path)], False, 1, thick)
        self._owner[(drawn > 0) & (self._owner == 0)] = net
        for start, end in zip(path[:-1], path[1:], strict=True):
            if np.hypot(*(np.asarray(end) - start)) > 1e-6:
                self.tracks.append(
                    Track(tuple(map(float, start)), tuple(map(float, end)), width_mm)
                )
                self.track_net.append(net)

    def _merge(self, keep: int, other: int) -> None:
        self._owner[self._owner == other] = keep
        self.net_of = [keep if n == other else n for n in self.net_of]
        self.track_net = [keep if n == other else n for n in self.track_net]
