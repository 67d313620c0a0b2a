"""How drilled holes look from where the camera stands.

A board is thick: from aside one sees a crescent of the bore's wall, and the
spoil board through the rest, dark, bright or half in shadow; dust may fill it
and torn copper lean over it (`bore_looks`). The rim is exact; the inside is
painted for the present direction of view and again once that has changed.
"""

from __future__ import annotations

import numpy as np

from drillaid.geometry import Affine
from drillaid.simulation.board import SimulatedBoard, burr_colour
from drillaid.simulation.bore_looks import BenchHabits, BoreLook
from drillaid.simulation.textures import rgb, soft_noise

# The inside is painted anew when the view of the bottom has moved by more than this, and
# by more than a pixel of the texture.
_STALE_MM = 0.04
_WALL = {
    "yellow": rgb(122, 112, 74),
    "white": rgb(140, 138, 126),
    "green": rgb(66, 84, 56),
    "brown": rgb(78, 48, 28),
}
_DUST = {
    "yellow": rgb(176, 164, 112),
    "white": rgb(205, 204, 192),
    "green": rgb(150, 168, 136),
    "brown": rgb(128, 78, 42),
}


class BoreLayer:
    """The board's texture with its bores, kept up to date for one bench.

    texture: uint8 (H, W, 4), BGR + shine
    """

    def __init__(
        self, board: SimulatedBoard, backlight: float, seed: int, habits: BenchHabits | None = None
    ):
        self._board, self._backlight, self._seed = board, backlight, seed
        self._habits = habits or BenchHabits.drawn(seed)
        self.texture = board.backlit(backlight)
        self._views = np.zeros((0, 2))
        self._thickness_mm = 1.6

    def looks(self) -> list[BoreLook]:
        """How each hole drilled so far is drawn, in the order of drilling."""
        return [
            self._habits.look(hole.diameter_mm / 2, np.random.default_rng([self._seed, 5, j]))
            for j, hole in enumerate(self._board.drilled)
        ]

    def update(self, pose: Affine, camera_mm: np.ndarray, thickness_mm: float) -> bool:
        """Repaints what changed; True if anything did.

        pose: board mm -> bench mm; camera_mm: (3,) bench frame.
        """
        holes = self._board.drilled
        if not holes:
            return False
        self._thickness_mm = thickness_mm
        at_board = self._board.to_board([h.at_mm for h in holes])
        top = pose(at_board)
        # The ray through the rim's middle goes on below the face: this far sideways.
        sideways = (top - camera_mm[:2]) * thickness_mm / (camera_mm[2] - thickness_mm)
        views = sideways @ pose.linear
        known = len(self._views)
        stale = np.ones(len(holes), bool)
        limit = max(_STALE_MM, 1.0 / self._board.px_per_mm)
        stale[:known] = np.hypot(*(views[:known] - self._views).T) > limit
        if not stale.any():
            return False
        kept = views.copy()
        kept[:known][~stale[:known]] = self._views[~stale[:known]]
        self._views = kept
        for i in np.flatnonzero(stale):
            self._paint(int(i), at_board)
        return True

    def _paint(self, index: int, at_board: np.ndarray) -> None:
        board = self._board
        radius = board.drilled[index].diameter_mm / 2
        centre = board.texture_to_board.inverse(at_board[index])[0]
        window, dx, dy = board.window(centre, radius + 1.3)
        if window is None:
            return
        patch = board.backlit(self._backlight, window).astype(np.float32)
        for j, hole in enumerate(board.drilled):
            gap = np.hypot(*(at_board[j] - at_board[index]))
            if gap <= radius + 1.3 * 1.5 + hole.diameter_mm / 2:
                step = (at_board[j] - at_board[index]) * [1, -1]
                self._inside(patch, dx - step[0], dy - step[1], j, hole.diameter_mm / 2)
        self.texture[window] = np.clip(patch, 0, 255).astype(np.uint8)

    def _inside(self, patch, dx, dy, j: int, radius: float) -> None:
        """dx, dy: mm from the bore's middle, dy down as texture rows run."""
        away = np.hypot(dx, dy)
        if away.min() > radius + 0.35:
            return
        rng = np.random.default_rng([self._seed, 5, j])
        look = self._habits.look(radius, rng)
        ppm = self._board.px_per_mm
        grain = soft_noise(rng, dx.shape, 2.0)
        angle = np.arctan2(-dy, dx)
        floor = self._floor(look, dx, dy, j, radius, grain)
        rim = np.clip((radius - away) * ppm + 0.5, 0, 1)
        patch[..., :3] += rim[..., None] * (floor - patch[..., :3])
        patch[..., 3] *= 1 - rim
        self._torn(patch, look, away, angle, radius)
        self._dust(patch, look, dx, dy, away, angle, radius, grain)
        self._lip(patch, look, away, angle, radius)

    def _floor(self, look: BoreLook, dx, dy, j: int, radius: float, grain) -> np.ndarray:
        """Wall and spoil board as seen through the rim, float32 (h, w, 3)."""
        ppm, backlight = self._board.px_per_mm, self._backlight
        sx, sy = self._views[j] * [1, -1]
        seen = np.clip((radius - np.hypot(dx + sx, dy + sy)) * ppm + 0.5, 0, 1)
        rough = 1 + 0.12 * grain
        sun = np.cos(look.sun_rad) * dx - np.sin(look.sun_rad) * dy
        # the wall away from the light is the one that is lit
        facing = np.clip(-sun / radius, -1, 1)
        deep = self._depth_on_wall(dx, dy, sx, sy, radius)
        lit = (0.75 + look.wall_light * facing) * (1 - look.wall_fall) ** (deep / radius)
        if look.lamp is not None:
            # A ray over the opposite rim comes down the wall as far as the bore is wide there.
            shadow = 2 * radius * np.clip(facing, 0, 1) / look.lamp
            lit = lit * (0.6 + 0.6 * np.clip((shadow - deep) / 0.15 + 0.5, 0, 1))
        wall = self._wall_colour() * look.wall
        inside = (lit * rough)[..., None] * wall * (1 - 0.3 * backlight)
        light = np.full(dx.shape, look.lit, np.float32)
        if look.shade is not None:
            away = np.hypot(dx + sx + look.shade[0], dy + sy - look.shade[1])
            # a lamp is no point: its shadow has a border of about a tenth of a millimetre
            light *= 0.18 + 0.82 * np.clip((radius - away) / 0.12 + 0.5, 0, 1)
        spoil = look.spoil * (light * rough)[..., None]
        if backlight > 0:
            spoil = spoil * (1 - backlight) + 245 * backlight
        return inside + seen[..., None] * (spoil - inside)

    def _depth_on_wall(self, dx, dy, sx: float, sy: float, radius: float) -> np.ndarray:
        """How far down the wall is met, mm, by the ray that comes in at (dx, dy) and goes
        (sx, sy) sideways on its way through the board."""
        aside = sx * sx + sy * sy
        if aside < 1e-9:
            return np.full(dx.shape, self._thickness_mm, np.float32)
        along = dx * sx + dy * sy
        room = np.maximum(radius**2 - dx * dx - dy * dy, 0.0)
        share = (-along + np.sqrt(along**2 + aside * room)) / aside
        return self._thickness_mm * np.clip(share, 0.0, 1.0)

    def _wall_colour(self) -> np.ndarray:
        look = self._board.look
        if look.laminate_rgb is None:
            return _WALL[look.laminate]
        return 0.68 * rgb(*look.laminate_rgb)

    def _lumps(self, dx, look: BoreLook) -> np.ndarray:
        """The same at every painting of one hole."""
        seed = int(abs(look.wobble[0, 1]) * 1e6)
        size = max(0.09 * self._board.px_per_mm, 1.0)
        return 1.6 * soft_noise(np.random.default_rng(seed), dx.shape, size)

    def _torn(self, patch, look: BoreLook, away, angle, radius: float) -> None:
        """Copper that came off beside the rim: the board shows."""
        if look.torn is None:
            return
        turn, half, length = look.torn
        ppm = self._board.px_per_mm
        aside = np.abs(np.angle(np.exp(1j * (angle - turn))))
        share = np.clip((half - aside) * np.maximum(away, 0.05) * ppm + 0.5, 0, 1)
        share = share * np.clip((radius + length * (1 - 0.5 * (aside / half) ** 2) - away) * ppm + 0.5, 0, 1)
        share = share * np.clip((away - radius) * ppm + 0.5, 0, 1)
        bare = self._wall_colour() / 0.68
        patch[..., :3] += share[..., None] * (bare - patch[..., :3])
        patch[..., 3] *= 1 - share

    def _dust(self, patch, look: BoreLook, dx, dy, away, angle, radius: float, grain) -> None:
        """Glass dust in the bore, deepest where it slopes to, and some of it over the rim."""
        if look.dust <= 0.02:
            return
        wave = sum(a * np.cos((k + 1) * angle + b) for k, (a, b) in enumerate(look.wobble))
        heap = (look.slope[0] * dx - look.slope[1] * dy) / radius + 0.25 * wave + 0.2 * grain
        heap = heap + look.clumps * self._lumps(dx, look)
        inside = np.clip(2.5 * (2.2 * look.dust - 0.9 + heap), 0, 1) * (away < radius + 0.02)
        over = np.clip(2.0 * look.spill + 0.6 * heap - 0.9, 0, 1)
        over = over * np.exp(-((np.maximum(away - radius, 0) / look.strewn_mm) ** 2))
        share = np.maximum(inside, over)[..., None]
        look_of = self._board.look.laminate
        pale = rgb(186, 138, 92) if look_of == "brown" else rgb(212, 206, 182)
        # dust below the face gets less light
        deep = np.where(away < radius, 0.72 + 0.3 * np.clip(look.dust, 0, 1), 1.0)
        colour = (0.7 * pale + 0.3 * _DUST[look_of]) * (deep * (1 + 0.06 * grain))[..., None]
        colour = colour * (1 - 0.35 * self._backlight)
        patch[..., :3] += 0.93 * share * (colour - patch[..., :3])
        patch[..., 3] *= 1 - 0.9 * share[..., 0]

    def _lip(self, patch, look: BoreLook, away, angle, radius: float) -> None:
        """Torn copper that stands up round the rim and leans over it here and there."""
        if look.lip <= 0.02:
            return
        wave = sum(a * np.cos((2 * k + 3) * angle + b) for k, (a, b) in enumerate(look.wobble))
        strength = look.lip * np.clip(0.45 + 0.55 * wave, 0, 1)
        low = -look.lip_mm * np.clip(wave - 0.4, 0, 1.5)
        high = 0.04 + 0.11 * strength
        ppm = self._board.px_per_mm
        belt = np.clip((away - radius - low) * ppm + 0.5, 0, 1)
        belt = belt * np.clip((radius + high - away) * ppm + 0.5, 0, 1)
        facing = 0.7 + 0.45 * np.cos(angle - look.sun_rad)
        bright = burr_colour(self._board.look) * facing[..., None]
        share = (strength * belt)[..., None]
        patch[..., :3] += share * (bright - patch[..., :3])
        patch[..., 3] += share[..., 0] * 60
