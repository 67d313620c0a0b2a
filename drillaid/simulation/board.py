"""The physical board: the etched pattern on its upper face, and the holes drilled so far.

Frame "board": mm on the upper face, x right and y up as one looks at it, the
design's middle at (0, 0). A bottom face is therefore already mirrored here, and
the print's scale and shear are already in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.design.model import Design, Land
from drillaid.geometry import Affine, as_points
from drillaid.simulation.artwork import Artwork
from drillaid.simulation.look import GHOST, Look, copper_texture, glow_colour, laminate_texture
from drillaid.simulation.textures import layered_noise, rgb, soft_noise


@dataclass(frozen=True)
class DrilledHole:
    """Ground truth of one drilled hole. at_mm: design frame; diameter in true mm."""

    at_mm: tuple[float, float]
    diameter_mm: float


class SimulatedBoard:
    """A board made from `design`, printed at print_scale and etched to `look`.

    Copper comes from the design's shapes where it is invented, else from its drawn
    picture, else from its lands alone.

    print_scale: (sx, sy), shear: of the copper pattern against the design, as in
      `Affine.from_parts`; a bore's diameter is not scaled
    px_per_mm: of the texture; somewhat finer than the camera's picture
    """

    def __init__(
        self,
        design: Design,
        look: Look | None = None,
        *,
        print_scale: tuple[float, float] = (1.0, 1.0),
        shear: float = 0.0,
        face: str = "bottom",
        seed: int = 0,
        px_per_mm: float = 20.0,
    ):
        if face not in ("top", "bottom"):
            raise ValueError(f'face must be "top" or "bottom", not {face!r}')
        self.design, self.look, self.face = design, look or Look(), face
        self.px_per_mm = float(px_per_mm)
        self._rng = np.random.default_rng([seed, 2])
        self.to_board = self._placed(print_scale, shear)
        self.edge_mm = self._sawn_edge()
        low, high = self.edge_mm.min(axis=0) - 0.3, self.edge_mm.max(axis=0) + 0.3
        width, height = np.ceil((high - low) * self.px_per_mm).astype(int)
        s = 1.0 / self.px_per_mm
        self.texture_to_board = Affine([[s, 0, low[0]], [0, -s, high[1]]])
        self._shape = int(height), int(width)
        self.lost = self._choose_lost()
        self.copper = self._coverage()
        self._behind = None
        if self.look.bare:
            self._behind, self.copper = self.copper, np.zeros_like(self.copper)
        self.surface, self.glow = self._paint()
        self.drilled: list[DrilledHole] = []

    def _placed(self, print_scale, shear: float) -> Affine:
        mirrored = self.face == "bottom"
        linear = Affine.from_parts(scale=print_scale, shear=shear, mirrored=mirrored)
        middle = (self._extent().min(axis=0) + self._extent().max(axis=0)) / 2
        return Affine(np.column_stack([linear.linear, -linear(middle)[0]]))

    def _extent(self) -> np.ndarray:
        """Points whose bounding box is the board's, design mm."""
        if self.design.outline is not None:
            return self.design.outline.rings_mm[0]
        xy = self.design.xy_mm
        return np.vstack([xy.min(axis=0) - 4.0, xy.max(axis=0) + 4.0])

    def _sawn_edge(self) -> np.ndarray:
        """Corners of the real board, (4, 2) board mm: cut by hand, not along the drawing."""
        box = self._extent()
        (x0, y0), (x1, y1) = box.min(axis=0), box.max(axis=0)
        corners = self.to_board([(x0, y0), (x1, y0), (x1, y1), (x0, y1)])
        cut = abs(self.look.cut_mm)
        side = self._rng.uniform(-0.2, 1.0, (4, 2)) * cut
        return corners + np.sign(corners) * side

    def _choose_lost(self) -> frozenset[int]:
        """Numbers of the holes whose land came off."""
        lost = set(self.look.lost)
        for hole, land in zip(self.design.holes, self.design.lands, strict=True):
            if self._rng.random() < self.look.lost_fraction and land is not None:
                lost.add(hole.number)
        return frozenset(lost)

    # --- copper ---------------------------------------------------------------

    def _distance(self) -> np.ndarray:
        """float32 mm from the drawn copper's edge, positive in copper."""
        to_design = self.to_board.inverse @ self.texture_to_board
        art = getattr(self.design, "artwork", None)
        if art is not None:
            return art.distance_mm(to_design, self._shape)
        # A pattern etched the wrong way round is the other face's copper, so any face will do.
        copper = self.design.copper.get(self.face) or next(iter(self.design.copper.values()), None)
        if copper is None:
            return _bare_lands(self.design).distance_mm(to_design, self._shape)
        return _mask_distance(copper, to_design, self._shape)

    def _coverage(self) -> np.ndarray:
        """float32 0 … 1: how much of each texture pixel is still copper."""
        look, rng, ppm = self.look, self._rng, self.px_per_mm
        distance = self._distance() - np.float32(look.etch_mm)
        if look.centre_marks_mm > 0:
            self._etch_marks(distance)
        if look.ragged_mm > 0:
            rough = 0.8 * soft_noise(rng, self._shape, 0.28 * ppm)
            rough += 0.6 * soft_noise(rng, self._shape, 0.09 * ppm)
            distance = distance + np.float32(look.ragged_mm) * rough
        cover = np.clip(distance * np.float32(ppm) + 0.5, 0, 1)
        self._lose_lands(cover)
        if look.residue > 0:
            blot = layered_noise(rng, self._shape, 4 * ppm, 4)
            fine = soft_noise(rng, self._shape, 0.15 * ppm)
            haze = np.clip(1.5 * (blot - 2.6 + look.residue) + 0.3 * fine, 0, 0.8)
            pits = np.clip(2.0 * (fine - 3.4 + 0.8 * look.residue), 0, 1)
            cover = np.maximum(cover * (1 - pits), haze)
        return cover

    def _etch_marks(self, distance: np.ndarray) -> None:
        radius = self.look.centre_marks_mm / 2
        for xy in self.texture_px(
            self.design.xy_mm[[land is not None for land in self.design.lands]]
        ):
            window, dx, dy = self.window(xy, radius + 0.3)
            if window:
                np.minimum(distance[window], np.hypot(dx, dy) - radius, out=distance[window])

    def _lose_lands(self, cover: np.ndarray) -> None:
        """Torn off or eaten away: what is left ends in a ragged line."""
        holes = {h.number: i for i, h in enumerate(self.design.holes)}
        for number in sorted(self.lost):
            index = holes[number]
            land = self.design.lands[index]
            reach = 1.2 if land is None else 0.62 * max(land.size_mm)
            window, dx, dy = self.window(self.texture_px(self.design.xy_mm[index])[0], reach + 0.6)
            if window:
                rough = 0.2 * soft_noise(self._rng, dx.shape, 0.25 * self.px_per_mm)
                keep = np.clip((np.hypot(dx, dy) + rough - reach) * self.px_per_mm / 3, 0, 1)
                cover[window] *= keep

    # --- paint ------------------------------------------------------------------

    def _paint(self) -> tuple[np.ndarray, np.ndarray]:
        """(BGR + shine uint8 (H, W, 4), light let through uint8 (H, W))."""
        look, rng, shape, ppm = self.look, self._rng, self._shape, self.px_per_mm
        base, base_shine = laminate_texture(look, rng, shape, ppm)
        metal, metal_shine = copper_texture(look, rng, shape, ppm)
        self._scratch(metal, metal_shine, base)
        cover = self.copper
        if self._behind is not None:
            # The glass cloth scatters what comes from the other side.
            ghost = cv2.GaussianBlur(self._behind, (0, 0), 0.45 * ppm)
            base *= (1 - GHOST[look.laminate] * ghost)[..., None]
        # Residue and shadow along the copper's edge, the same on either side of it.
        edge = 4 * cover * (1 - cover)
        edge = cv2.GaussianBlur(edge, (0, 0), max(0.8, 0.035 * ppm))
        paint = base
        paint += cover[..., None] * (metal - base)
        paint *= (1 - 0.30 * edge)[..., None]
        shine = base_shine + cover * (metal_shine - base_shine)
        surface = np.dstack([paint, shine])
        through = 255 * (1 - cover) * (0.93 + 0.035 * layered_noise(rng, shape, 6 * ppm, 3))
        return (
            np.clip(surface, 0, 255, out=surface).astype(np.uint8),
            np.clip(through, 0, 255).astype(np.uint8),
        )

    def _scratch(self, metal: np.ndarray, shine: np.ndarray, base: np.ndarray) -> None:
        height, width = self._shape
        for _ in range(self.look.scratches):
            start = self._rng.uniform(0, [width, height])
            turn = self._rng.uniform(0, 2 * math.pi)
            length = self._rng.exponential(12 * self.px_per_mm)
            bend = self._rng.normal(0, 0.1)
            steps = np.linspace(0, 1, 12)[:, None]
            heading = turn + bend * steps
            path = start + length * steps * np.hstack([np.cos(heading), np.sin(heading)])
            strength = float(self._rng.uniform(-0.35, 0.35))
            x0, y0 = np.maximum(path.min(axis=0) - 3, 0).astype(int)
            x1, y1 = np.minimum(path.max(axis=0) + 3, [width, height]).astype(int)
            if x0 >= x1 or y0 >= y1:
                continue
            mark = np.zeros((y1 - y0, x1 - x0), np.uint8)
            px = np.rint((path - [x0, y0]) * 16).astype(np.int32)
            cv2.polylines(mark, [px], False, 255, 1, cv2.LINE_AA, 4)
            part = strength / 255 * mark.astype(np.float32)
            metal[y0:y1, x0:x1] *= 1 + part[..., None]
            base[y0:y1, x0:x1] *= 1 + 0.4 * part[..., None]
            shine[y0:y1, x0:x1] *= 1 + part

    def backlit(self, share: float, window=np.s_[:, :]) -> np.ndarray:
        """A copy of the surface with `share` (0 … 1) of the light from below, BGR + shine."""
        if share <= 0:
            return self.surface[window].copy()
        through = (self.glow[window].astype(np.float32) / 255)[..., None] * glow_colour(self.look)
        out = self.surface[window].astype(np.float32)
        out[..., :3] = (1 - 0.8 * share) * out[..., :3] + share * 1.05 * through
        out[..., 3] *= 1 - 0.7 * share
        return np.clip(out, 0, 255).astype(np.uint8)

    # --- drilling ---------------------------------------------------------------

    def drill(self, at_design_mm, bit_mm: float) -> DrilledHole:
        """Bores where it is told to; the burr shows at once, the bore itself is drawn by the bench.

        Bores beside the board leave no trace on it but are recorded.
        """
        if not bit_mm > 0:
            raise ValueError(f"bit_mm must be positive, not {bit_mm}")
        at = as_points(at_design_mm)[0]
        hole = DrilledHole((float(at[0]), float(at[1])), float(bit_mm))
        self.drilled.append(hole)
        window, dx, dy = self.window(self.texture_px(at)[0], bit_mm / 2 + 1.2)
        if window:
            self._raise_burr(window, dx, dy, bit_mm / 2)
        return hole

    def scatter_swarf(self, count: int) -> None:
        """Curled chips and dust on the face."""
        height, width = self._shape
        for _ in range(count):
            at = self._rng.uniform(0, [width, height])
            bend = np.cumsum(self._rng.normal(0, 0.5, 9)) + self._rng.uniform(0, 6.3)
            step = self._rng.uniform(0.03, 0.16) * self.px_per_mm
            path = at + np.cumsum(np.column_stack([np.cos(bend), np.sin(bend)]), axis=0) * step
            tone = self._rng.uniform(0.7, 1.15)
            colour = rgb(214, 206, 178) if self._rng.random() < 0.6 else rgb(204, 132, 98)
            paint = (*(float(min(c * tone, 255)) for c in colour), 60.0)
            thick = max(1, int(self._rng.uniform(0.04, 0.16) * self.px_per_mm))
            px = np.rint(path * 16).astype(np.int32)
            cv2.polylines(self.surface, [px], False, paint, thick, cv2.LINE_AA, 4)

    def _raise_burr(self, window, dx, dy, radius: float) -> None:
        """A bright, broken ring of raised copper round the bore, and dust thrown about."""
        rng, away = self._rng, np.hypot(dx, dy) - radius
        angle = np.arctan2(dy, dx)
        uneven = 0.6 + 0.4 * np.sin(angle * rng.integers(2, 5) + rng.uniform(0, 6.3))
        width = rng.uniform(0.05, 0.12)
        burr = np.exp(-(((away - 0.4 * width) / width) ** 2)) * uneven
        burr = burr * (0.25 + 0.75 * self.copper[window])
        part = self.surface[window].astype(np.float32)
        bright = burr_colour(self.look)
        part[..., :3] += (0.8 * burr)[..., None] * (bright - part[..., :3])
        part[..., 3] += burr * 70
        speck = soft_noise(rng, dx.shape, max(1.6, 0.07 * self.px_per_mm))
        dust = np.clip(speck - 1.5, 0, 1) * np.exp(-np.maximum(away, 0) / 0.5)
        part[..., :3] += (0.8 * dust)[..., None] * (rgb(214, 206, 178) - part[..., :3])
        self.surface[window] = np.clip(part, 0, 255).astype(np.uint8)

    # --- where things are on the texture -------------------------------------------

    def texture_px(self, design_mm) -> np.ndarray:
        return self.texture_to_board.inverse(self.to_board(design_mm))

    def window(self, px, reach_mm: float):
        """((row slice, column slice) or None, dx, dy in mm from px) of the texture round px."""
        reach, (height, width) = reach_mm * self.px_per_mm, self._shape
        c0, c1 = max(0, math.floor(px[0] - reach)), min(width, math.ceil(px[0] + reach) + 1)
        r0, r1 = max(0, math.floor(px[1] - reach)), min(height, math.ceil(px[1] + reach) + 1)
        if c0 >= c1 or r0 >= r1:
            return None, None, None
        dx = (np.arange(c0, c1)[None, :] - px[0]) / self.px_per_mm
        dy = (np.arange(r0, r1)[:, None] - px[1]) / self.px_per_mm
        dx, dy = np.broadcast_arrays(dx.astype(np.float32), dy.astype(np.float32))
        return (slice(r0, r1), slice(c0, c1)), dx, dy


def burr_colour(look: Look) -> np.ndarray:
    """BGR of freshly torn metal."""
    return rgb(206, 206, 206) if look.finish == "tinned" else rgb(226, 156, 120)


def _bare_lands(design: Design) -> Artwork:
    """Copper for a design that brings none: its lands, or round ones of a usual size."""
    lands = []
    for hole, land, (x, y) in zip(design.holes, design.lands, design.xy_mm, strict=True):
        if land is None and hole.plated is not False:
            side = hole.drill_mm + 0.8
            land = Land("round", (side, side), 0.0, (float(x), float(y)))
        if land is not None:
            lands.append(land)
    return Artwork(tuple(lands))


def _mask_distance(copper, to_design: Affine, shape: tuple[int, int]) -> np.ndarray:
    """Signed distance of a drawn mask, resampled; its edges are good to about 0.2 mask pixel."""
    inside = (copper.mask > 127).astype(np.uint8)
    far = cv2.DIST_L2, cv2.DIST_MASK_PRECISE
    signed = cv2.distanceTransform(inside, *far) - cv2.distanceTransform(1 - inside, *far)
    signed -= np.where(inside > 0, np.float32(0.5), np.float32(-0.5))
    signed = cv2.GaussianBlur(signed, (0, 0), 0.8) / np.float32(copper.px_per_mm)
    to_mask = copper.to_design.inverse @ to_design
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    out = cv2.warpAffine(
        np.clip(signed, -1, 1), to_mask.matrix, shape[::-1], flags=flags,
        borderMode=cv2.BORDER_CONSTANT, borderValue=-1.0,
    )  # fmt: skip
    return out
