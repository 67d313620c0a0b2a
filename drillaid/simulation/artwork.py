"""Copper as exact shapes, and the signed distance to its edge on any raster.

Distances instead of a drawn picture: over- and under-etch is then one
subtraction, edges stay antialiased, and a pad's centre is where the design
says it is, to far less than a pixel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.design.model import Land
from drillaid.geometry import Affine


@dataclass(frozen=True)
class Track:
    """A straight piece of copper with round ends."""

    start_mm: tuple[float, float]
    end_mm: tuple[float, float]
    width_mm: float


@dataclass(frozen=True)
class Pour:
    """Copper that fills the box (x0, y0, x1, y1) but for `clearance_mm` round foreign copper.

    own: indices of the lands that belong to it (no clearance);
    own_tracks: likewise.
    """

    box_mm: tuple[float, float, float, float]
    clearance_mm: float
    own: frozenset[int] = frozenset()
    own_tracks: frozenset[int] = frozenset()


def land_distance(land: Land, dx, dy):
    """mm from the land's edge, positive inside; dx, dy from its centre in design axes."""
    c, s = np.cos(land.rotation_rad), np.sin(land.rotation_rad)
    x, y = np.abs(c * dx + s * dy), np.abs(c * dy - s * dx)
    half_w, half_h = land.size_mm[0] / 2, land.size_mm[1] / 2
    if land.shape in ("round", "oblong"):
        radius = min(half_w, half_h)
        x = np.maximum(x - (half_w - radius), 0)
        y = np.maximum(y - (half_h - radius), 0)
        return radius - np.hypot(x, y)
    inside = np.minimum(half_w - x, half_h - y)
    if land.shape == "octagon":
        # Across the corners' flats a regular octagon is as wide as across the others.
        return np.minimum(inside, min(half_w, half_h) - (x + y) / np.sqrt(2.0))
    outside = np.hypot(np.maximum(x - half_w, 0), np.maximum(y - half_h, 0))
    return np.where(inside > 0, inside, -outside)


def track_distance(track: Track, x, y):
    """mm from the track's edge, positive inside."""
    (x0, y0), (x1, y1) = track.start_mm, track.end_mm
    ex, ey = x1 - x0, y1 - y0
    length2 = ex * ex + ey * ey
    along = 0.0 if length2 == 0 else np.clip(((x - x0) * ex + (y - y0) * ey) / length2, 0, 1)
    return track.width_mm / 2 - np.hypot(x - x0 - along * ex, y - y0 - along * ey)


class _Raster:
    """Coordinates in the design for windows of a raster."""

    def __init__(self, to_design: Affine, shape: tuple[int, int]):
        self.to_design, self.shape = to_design, shape

    def window(self, box_mm, margin_mm: float):
        """((row slice, column slice), x, y) of the raster part that covers the box, or None."""
        x0, y0, x1, y1 = box_mm
        x0, y0, x1, y1 = x0 - margin_mm, y0 - margin_mm, x1 + margin_mm, y1 + margin_mm
        corners = self.to_design.inverse([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
        height, width = self.shape
        c0, r0 = np.maximum(np.floor(corners.min(axis=0)), 0).astype(int)
        c1, r1 = np.minimum(np.ceil(corners.max(axis=0)) + 1, (width, height)).astype(int)
        if c0 >= c1 or r0 >= r1:
            return None
        m = self.to_design.matrix.astype(np.float32)
        column = np.arange(c0, c1, dtype=np.float32)[None, :]
        row = np.arange(r0, r1, dtype=np.float32)[:, None]
        x = m[0, 0] * column + m[0, 1] * row + m[0, 2]
        y = m[1, 0] * column + m[1, 1] * row + m[1, 2]
        return (slice(r0, r1), slice(c0, c1)), x, y


@dataclass(frozen=True)
class Artwork:
    """All copper of one face, in design mm."""

    lands: tuple[Land, ...]
    tracks: tuple[Track, ...] = ()
    pour: Pour | None = None

    def distance_mm(
        self, to_design: Affine, shape: tuple[int, int], limit_mm: float = 1.0
    ) -> np.ndarray:
        """float32 `shape`: mm from the copper's edge, positive in copper, cut at ±limit_mm.

        to_design: raster (column, row) -> design mm. Where shapes overlap the
        inside is a lower bound; the edge itself is exact.
        """
        raster = _Raster(to_design, shape)
        own = np.full(shape, -limit_mm, np.float32)
        foreign = own if self.pour is None else own.copy()
        mine = self.pour.own if self.pour else frozenset()
        mine_tracks = self.pour.own_tracks if self.pour else frozenset()
        for index, land in enumerate(self.lands):
            self._land(raster, own if index in mine else foreign, land, limit_mm)
        for index, track in enumerate(self.tracks):
            self._track(raster, own if index in mine_tracks else foreign, track, limit_mm)
        if self.pour is not None:
            self._pour(raster, own, foreign)
            own = np.maximum(own, foreign)
        return np.clip(own, -limit_mm, limit_mm, out=own)

    @staticmethod
    def _land(raster: _Raster, field: np.ndarray, land: Land, limit_mm: float) -> None:
        reach = float(np.hypot(*land.size_mm)) / 2
        cx, cy = land.centre_mm
        found = raster.window((cx - reach, cy - reach, cx + reach, cy + reach), limit_mm)
        if found:
            window, x, y = found
            np.maximum(field[window], land_distance(land, x - cx, y - cy), out=field[window])

    @staticmethod
    def _track(raster: _Raster, field: np.ndarray, track: Track, limit_mm: float) -> None:
        (x0, y0), (x1, y1) = track.start_mm, track.end_mm
        box = min(x0, x1), min(y0, y1), max(x0, x1), max(y0, y1)
        found = raster.window(box, track.width_mm / 2 + limit_mm)
        if found:
            window, x, y = found
            np.maximum(field[window], track_distance(track, x, y), out=field[window])

    def _pour(self, raster: _Raster, own: np.ndarray, foreign: np.ndarray) -> None:
        x0, y0, x1, y1 = self.pour.box_mm
        found = raster.window(self.pour.box_mm, 1.0)
        if found:
            window, x, y = found
            inside = np.minimum(np.minimum(x - x0, x1 - x), np.minimum(y - y0, y1 - y))
            inside = np.minimum(inside, -foreign[window] - np.float32(self.pour.clearance_mm))
            np.maximum(own[window], inside, out=own[window])
