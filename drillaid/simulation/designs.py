"""Invented single-sided boards, as designs with exact copper."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from drillaid.design.model import Copper, Design, Hole, Land, Outline
from drillaid.geometry import Affine
from drillaid.simulation import parts
from drillaid.simulation.artwork import Artwork, Pour, Track
from drillaid.simulation.export import write_fabrication_files
from drillaid.simulation.routing import Router

MASK_PX_PER_MM = 20.0
_EDGE_MM = 2.2
# Strokes of mock letters on a grid 2 wide and 4 high: lettering that says nothing.
_STROKES = (
    ((0, 0), (0, 4), (2, 4)), ((0, 4), (2, 4), (1, 4), (1, 0)), ((0, 0), (1, 4), (2, 0)),
    ((0, 0), (0, 4), (2, 2), (0, 2)), ((2, 4), (0, 4), (0, 2), (2, 2), (2, 0), (0, 0)),
    ((0, 4), (0, 0), (2, 0)), ((0, 0), (0, 4), (2, 0), (2, 4)), ((2, 4), (0, 2), (2, 0)),
    ((0, 0), (2, 0), (2, 4), (0, 4), (0, 0)), ((1, 0), (1, 4)),
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class InventedDesign(Design):
    """A design that also knows its copper as shapes, for drawing without a raster's error."""

    artwork: Artwork | None = None


@dataclass(frozen=True)
class Placed:
    """A part on the board; turns: quarter turns counter-clockwise."""

    part: parts.Part
    x_mm: float
    y_mm: float
    turns: int = 0

    def pins(self):
        """(pin, (x, y), rotation_rad) of each."""
        c, s = [(1, 0), (0, 1), (-1, 0), (0, -1)][self.turns % 4]
        for pin in self.part.pins:
            x = self.x_mm + c * pin.dx_mm - s * pin.dy_mm
            y = self.y_mm + s * pin.dx_mm + c * pin.dy_mm
            yield pin, (x, y), (self.turns % 2) * math.pi / 2

    def box_mm(self) -> tuple[float, float, float, float]:
        xy = np.array([xy for _, xy, _ in self.pins()])
        (x0, y0), (x1, y1) = xy.min(axis=0) - self.part.body_mm, xy.max(axis=0) + self.part.body_mm
        return float(x0), float(y0), float(x1), float(y1)


class Layout:
    """A board being laid out; coordinates from its lower left corner until `design`."""

    def __init__(self, size_mm: tuple[float, float], clearance_mm: float = 0.35):
        self.size_mm = size_mm
        self.router = Router((0.9, 0.9, size_mm[0] - 0.9, size_mm[1] - 0.9), clearance_mm)
        self.lands: list[Land] = []
        self.part_of: list[int] = []
        self.holes: list[tuple[float, tuple[float, float], int | None]] = []
        self._parts = 0

    def place(self, placed: Placed) -> list[int | None]:
        """Adds the part's holes and lands; returns each pin's land index."""
        indices: list[int | None] = []
        for pin, xy, rotation in placed.pins():
            index = None
            if pin.size_mm is None:
                self.router.block(xy, pin.drill_mm / 2 + 0.8)
            else:
                land = Land(pin.shape, pin.size_mm, rotation, xy)
                index = self.router.add_land(land)
                self.lands.append(land)
                self.part_of.append(self._parts)
            indices.append(index)
            self.holes.append((pin.drill_mm, xy, index))
        self._parts += 1
        return indices

    def connect(self, a: int, b: int, width_mm: float) -> bool:
        return self.router.connect(a, b, self.lands, width_mm)

    def letter(self, xy, count: int, height_mm: float, rng: np.random.Generator) -> None:
        """Mock lettering in copper, mirrored as etched text on the underside is."""
        for i in range(count):
            stroke = np.array(_STROKES[rng.integers(len(_STROKES))], float) * height_mm / 4
            path = stroke * [-1, 1] + [xy[0] - i * height_mm * 0.8, xy[1]]
            self.router.stroke(path, height_mm * 0.14)

    def connect_neighbours(self, rng: np.random.Generator, widths_mm, share: float) -> None:
        """Joins pads of different parts, near ones first."""
        if len(self.lands) < 2:
            return
        xy = np.array([land.centre_mm for land in self.lands])
        away = np.hypot(*(xy[:, None] - xy[None]).T)
        order = rng.permutation(len(xy))
        for a in order[: int(math.ceil(len(xy) * share))]:
            tries = 0
            for b in np.argsort(away[a], kind="stable")[1:14]:
                if self.part_of[a] == self.part_of[b] and rng.random() < 0.9:
                    continue
                tries += 1
                if self.connect(int(a), int(b), float(rng.choice(widths_mm))) or tries > 6:
                    break

    def _pour(self, clearance_mm: float, thermal: bool) -> tuple[Pour, list[Land], list[Track]]:
        """The widest net becomes the pour's; with `thermal` its pads keep a ring with spokes."""
        nets, counts = np.unique(self.router.net_of, return_counts=True)
        net = nets[np.argmax(counts)]
        mine = [i for i, n in enumerate(self.router.net_of) if n == net]
        tracks = list(self.router.tracks)
        own_tracks = {i for i, n in enumerate(self.router.track_net) if n == net}
        lands = list(self.lands)
        if thermal:
            for i in mine:
                (x, y), reach = lands[i].centre_mm, max(lands[i].size_mm) / 2 + clearance_mm + 0.2
                for ends in (((x - reach, y), (x + reach, y)), ((x, y - reach), (x, y + reach))):
                    own_tracks.add(len(tracks))
                    tracks.append(Track(*ends, 0.6))
        else:
            lands = [replace(n, in_pour=True) if i in mine else n for i, n in enumerate(lands)]
        w, h = self.size_mm
        own = frozenset() if thermal else frozenset(mine)
        box = (1.0, 1.0, w - 1.0, h - 1.0)
        return Pour(box, clearance_mm, own, frozenset(own_tracks)), lands, tracks

    def design(
        self,
        name: str,
        origin_mm: tuple[float, float] = (0.0, 0.0),
        pour_clearance_mm: float | None = None,
        thermal: bool = False,
    ) -> InventedDesign:
        """origin_mm: where the lower left corner comes to lie in the design frame."""
        pour, lands, tracks = None, self.lands, self.router.tracks
        if pour_clearance_mm is not None:
            pour, lands, tracks = self._pour(pour_clearance_mm, thermal)
        ox, oy = origin_mm
        moved = [_moved_land(land, ox, oy) for land in lands]
        if pour is not None:
            x0, y0, x1, y1 = pour.box_mm
            pour = replace(pour, box_mm=(x0 + ox, y0 + oy, x1 + ox, y1 + oy))
        art = Artwork(tuple(moved), tuple(_moved_track(t, ox, oy) for t in tracks), pour)
        # Numbered as a drill file lists them: tool by tool, small first.
        listed = sorted(self.holes, key=lambda h: (h[2] is None, h[0]))
        holes = tuple(
            Hole(i + 1, round(x + ox, 6), round(y + oy, 6), d, plated=land is not None)
            for i, (d, (x, y), land) in enumerate(listed)
        )
        w, h = self.size_mm
        ring = np.array([[0, 0], [w, 0], [w, h], [0, h], [0, 0]], float) + origin_mm
        return InventedDesign(
            name=name,
            holes=holes,
            lands=tuple(None if land is None else moved[land] for _, _, land in listed),
            copper={"bottom": draw_copper(art, ring)},
            outline=Outline((ring,)),
            units="invented, mm",
            artwork=art,
        )


def _moved_land(land: Land, ox: float, oy: float) -> Land:
    x, y = land.centre_mm
    return replace(land, centre_mm=(round(x + ox, 6), round(y + oy, 6)))


def _moved_track(track: Track, ox: float, oy: float) -> Track:
    (x0, y0), (x1, y1) = track.start_mm, track.end_mm
    return Track((x0 + ox, y0 + oy), (x1 + ox, y1 + oy), track.width_mm)


def draw_copper(art: Artwork, ring: np.ndarray, px_per_mm: float = MASK_PX_PER_MM) -> Copper:
    """The artwork as the picture a design carries, over the ring's bounding box."""
    (x0, y0), (x1, y1) = ring.min(axis=0), ring.max(axis=0)
    shape = int(math.ceil((y1 - y0) * px_per_mm)), int(math.ceil((x1 - x0) * px_per_mm))
    s = 1.0 / px_per_mm
    to_design = Affine([[s, 0, x0 + s / 2], [0, -s, y1 - s / 2]])
    mask = np.where(art.distance_mm(to_design, shape) > 0, np.uint8(255), np.uint8(0))
    return Copper("bottom", mask, to_design, px_per_mm)


def random_design(seed: int, holes: int | None = None) -> InventedDesign:
    """An invented single-sided through-hole board.

    holes: about how many (20 … 300); the last part may overshoot a little and
    a full board may fall short. The same seed gives the same board.
    """
    rng = np.random.default_rng([seed, 1])
    wanted = int(holes) if holes else int(np.exp(rng.uniform(np.log(20), np.log(300))))
    area = max(wanted, 12) * rng.uniform(38.0, 60.0) + 500
    ratio = rng.uniform(1.15, 1.8)
    width = float(np.clip(math.sqrt(area * ratio), 40, 160))
    height = float(np.clip(area / width, 30, 100))
    layout = Layout((round(width, 1), round(height, 1)), float(rng.uniform(0.3, 0.45)))
    _fill(layout, wanted, rng)
    style = rng.random()
    widths = [0.4, 0.5, 0.6] if style < 0.3 else [0.6, 0.8, 1.0] if style < 0.7 else [0.8, 1.0, 1.2]
    layout.connect_neighbours(rng, widths, float(rng.uniform(0.7, 1.0)))
    for _ in range(int(rng.integers(0, 4))):
        at = rng.uniform([8, 2], [layout.size_mm[0] - 3, layout.size_mm[1] - 5])
        layout.letter(at, int(rng.integers(3, 9)), float(rng.uniform(1.6, 2.6)), rng)
    pour = float(rng.uniform(0.35, 0.6)) if rng.random() < 0.35 else None
    origin = (0.0, 0.0) if rng.random() < 0.5 else tuple(np.round(rng.uniform(-120, 120, 2), 2))
    return layout.design(
        f"invented board {seed}",
        (float(origin[0]), float(origin[1])),
        pour,
        bool(rng.random() < 0.5),
    )


def _fill(layout: Layout, wanted: int, rng: np.random.Generator) -> None:
    width, height = layout.size_mm
    if rng.random() < 0.8:
        land = None if rng.random() < 0.6 else 6.0
        inset = float(rng.uniform(3.4, 4.6))
        corners = [(inset, inset), (width - inset, inset),
                   (width - inset, height - inset), (inset, height - inset)]  # fmt: skip
        keep = rng.permutation(4)[: int(rng.integers(2, 5))]
        for i in sorted(keep):
            layout.place(Placed(parts.mounting_hole(land), *corners[i]))
    misses = 0
    while len(layout.holes) < wanted and misses < 400:
        part = parts.random_part(rng)
        if len(part.pins) > 2 * (wanted - len(layout.holes)) + 2:
            misses += 1
            continue
        for _ in range(25):
            grid = 1.27 if rng.random() < 0.8 else 0.635
            xy = np.round(rng.uniform([_EDGE_MM] * 2, [width - _EDGE_MM, height - _EDGE_MM]) / grid)
            placed = Placed(part, *(float(v) for v in np.round(xy * grid, 4)), int(rng.integers(4)))
            box = placed.box_mm()
            inner = _EDGE_MM <= box[0] + part.body_mm and _EDGE_MM <= box[1] + part.body_mm
            if inner and layout.router.free_box(box):
                layout.place(placed)
                break
        else:
            misses += 1


def demo_design() -> InventedDesign:
    """The demo's board, invented: a stair-light timer of a school workshop that does not exist."""
    layout = Layout((90.0, 58.0), 0.4)
    for x, y in ((4.0, 4.0), (86.0, 4.0), (86.0, 54.0), (4.0, 54.0)):
        layout.place(Placed(parts.mounting_hole(), x, y))
    for placed in _DEMO_PARTS:
        layout.place(placed)
    rng = np.random.default_rng(20)
    layout.connect_neighbours(rng, (0.7, 0.8, 1.2), 0.9)
    layout.letter((60.0, 51.5), 6, 2.4, rng)
    return layout.design("stair-light timer (invented)")


def demo_design_files(folder) -> list[Path]:
    """Writes `demo_design` as Gerber and NC drill files; returns their paths."""
    return write_fabrication_files(demo_design(), folder, "stair_light_timer")


_DEMO_PARTS = (
    Placed(parts.dual_row(16), 35.56, 45.72),
    Placed(parts.dual_row(8), 58.42, 43.18),
    Placed(parts.terminal(2), 12.70, 7.62),
    Placed(parts.terminal(3), 60.96, 7.62),
    Placed(parts.header(6), 12.70, 50.80),
    Placed(parts.header(4), 83.82, 24.13, 1),
    Placed(parts.resistor(), 15.24, 44.45),
    Placed(parts.resistor(), 15.24, 39.37),
    Placed(parts.resistor(), 15.24, 34.29),
    Placed(parts.resistor(), 8.89, 20.32, 1),
    Placed(parts.resistor(), 49.53, 38.10, 1),
    Placed(parts.resistor(), 71.12, 46.99),
    Placed(parts.resistor(), 71.12, 41.91),
    Placed(parts.resistor(), 33.02, 21.59),
    Placed(parts.resistor(), 33.02, 16.51),
    Placed(parts.diode(), 49.53, 24.13),
    Placed(parts.diode(), 49.53, 30.48),
    Placed(parts.rectifier(), 27.94, 10.16),
    Placed(parts.transistor(), 50.80, 17.78),
    Placed(parts.transistor(in_line=False), 63.50, 19.05),
    Placed(parts.electrolytic(5.0), 15.24, 22.86),
    Placed(parts.electrolytic(2.5), 26.67, 30.48),
    Placed(parts.electrolytic(5.0), 46.99, 7.62),
    Placed(parts.film_capacitor(), 64.77, 30.48),
    Placed(parts.film_capacitor(), 74.93, 35.56),
    Placed(parts.film_capacitor(), 15.24, 16.51),
    Placed(parts.film_capacitor(), 30.48, 51.69),
    Placed(parts.trimmer(), 73.66, 22.86),
)
