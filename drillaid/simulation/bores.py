"""How drilled holes look from where the camera stands.

A board is thick: from aside one sees a crescent of the bore's wall, and the
spoil board through the rest. The rim is exact; the inside is painted for the
present direction of view and again once that has changed.
"""

from __future__ import annotations

import numpy as np

from drillaid.geometry import Affine
from drillaid.simulation.board import SimulatedBoard
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


class BoreLayer:
    """The board's texture with its bores, kept up to date for one bench.

    texture: uint8 (H, W, 4), BGR + shine
    """

    def __init__(self, board: SimulatedBoard, backlight: float, seed: int):
        self._board, self._backlight, self._seed = board, backlight, seed
        self.texture = board.backlit(backlight)
        self._views = np.zeros((0, 2))

    def update(self, pose: Affine, camera_mm: np.ndarray, thickness_mm: float) -> bool:
        """Repaints what changed; True if anything did.

        pose: board mm -> bench mm; camera_mm: (3,) bench frame.
        """
        holes = self._board.drilled
        if not holes:
            return False
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
        rng = np.random.default_rng([self._seed, 5, j])
        ppm = self._board.px_per_mm
        away = np.hypot(dx, dy)
        if away.min() > radius + 0.1:
            return
        sx, sy = self._views[j] * [1, -1]
        bottom = np.hypot(dx + sx, dy + sy)
        floor = np.clip((radius - bottom) * ppm + 0.5, 0, 1)[..., None]
        wall = _WALL[self._board.look.laminate] * (0.75 + 0.5 * rng.random())
        lit = 0.75 + 0.35 * np.clip((0.6 * dx - 0.8 * dy) / radius, -1, 1)
        rough = 1 + 0.12 * soft_noise(rng, dx.shape, 2.0)
        inside = (lit * rough)[..., None] * wall * (1 - 0.3 * self._backlight)
        spoil = rgb(58, 44, 32) * (0.45 + 0.9 * rng.random()) * rough[..., None]
        if self._backlight > 0:
            spoil = spoil * (1 - self._backlight) + 245 * self._backlight
        inside = inside + floor * (spoil - inside)
        rim = np.clip((radius - away) * ppm + 0.5, 0, 1)
        patch[..., :3] += rim[..., None] * (inside - patch[..., :3])
        patch[..., 3] *= 1 - rim
