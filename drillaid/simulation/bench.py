"""A bench in software: a board under a camera and a spindle, with the truth kept.

What the camera shows comes from `drillaid.rig.rig.Rig` and nothing else: each
pixel is followed through the lens model down to the board's upper face.
"""

from __future__ import annotations

import math
import threading

import cv2
import numpy as np

from drillaid.geometry import Affine
from drillaid.rig.rig import Rig
from drillaid.simulation.board import SimulatedBoard
from drillaid.simulation.bore_looks import BenchHabits
from drillaid.simulation.bores import BoreLayer
from drillaid.simulation.look import gloss_tint
from drillaid.simulation.occluders import (
    FingerSprite,
    Occluders,
    SpindleOverlay,
    place_fingers,
    skin_tone,
)
from drillaid.simulation.optics import UNIT_LIGHT, Light, Optics, Sensor
from drillaid.simulation.prints import Print
from drillaid.simulation.projection import PixelMap
from drillaid.simulation.rigs import nominal_rig
from drillaid.simulation.scenery import Scenery
from drillaid.simulation.textures import rgb
from drillaid.simulation.water import Water, WaterSurface

__all__ = ["Light", "Occluders", "Optics", "SimulatedBench", "nominal_rig"]

OCCLUDING = 12  # grey levels between a scene and itself without what stands in the way
_SIDE = {
    "yellow": rgb(150, 136, 84),
    "white": rgb(176, 172, 156),
    "green": rgb(84, 104, 66),
    "brown": rgb(96, 58, 32),
}


class SimulatedBench:
    """board: None for an empty bench; sheet: what covers the bench (`scenery.SHEETS`);
    water: over all that lies there; prints: sheets of paper on the bench, under the board;
    habits: how its holes look (None: drawn by the seed).

    pose: board mm -> bench mm on the upper face, rigid
    truth: design mm -> bench mm on the upper face
    """

    def __init__(
        self,
        board: SimulatedBoard | None,
        rig: Rig,
        *,
        thickness_mm: float = 1.6,
        light: Light | None = None,
        optics: Optics | None = None,
        occluders: Occluders | None = None,
        sheet: str = "plywood",
        clutter: int = 10,
        water: Water | None = None,
        wander_sigma_mm: float = 0.03,
        prints: tuple[Print, ...] = (),
        habits: BenchHabits | None = None,
        seed: int = 0,
    ):
        self.board, self.rig, self.thickness_mm = board, rig, float(thickness_mm)
        self.light, self.optics = light or Light(), optics or Optics()
        self.sheet, self.clutter = sheet, clutter
        self.wander_sigma_mm = wander_sigma_mm
        self._seed, self._habits = seed, habits
        # A camera's reader thread renders while the hand moves the board.
        self._lock = threading.RLock()
        # One stream for each purpose: drilling must not depend on how often one looked.
        streams = np.random.default_rng([seed, 4]).spawn(5)
        self._bit_rng, self._finger_rng = streams[0], streams[1]
        shape = rig.height, rig.width
        self._lit, self._mirrored = self.light.fields(shape, streams[2], self.optics.vignette)
        sheet = "lightbox" if self.light.backlight > 0.3 else sheet
        self._scenery = Scenery(rig, streams[3], sheet, clutter)
        self.prints = tuple(prints)
        self._look_from(rig)
        self._sensor = Sensor(self.optics, shape, streams[4])
        self._water = None if water is None else WaterSurface(water, rig, self.thickness_mm)
        self._fingers: tuple = ()
        self.pose = Affine.identity()
        self._bores = self._bore_layer()
        self.occluders = occluders or Occluders()

    def _look_from(self, rig: Rig) -> None:
        """What never changes while the camera stays at this pose."""
        self._pixels = PixelMap(rig)
        bench = self._scenery.seen(self._pixels)
        for sheet in self.prints:
            sheet.draw(bench, self._pixels)
        self._bench = cv2.multiply(bench, self._lit, scale=1 / UNIT_LIGHT)
        self._still: np.ndarray | None = None

    def knock(self, rig: Rig) -> None:
        """The camera now stands as `rig` says; table, spindle and what lies there stay.

        rig: another pose of the same camera; its spindle must be the bench's own.
        """
        if (rig.width, rig.height) != (self.rig.width, self.rig.height):
            raise ValueError("a knocked camera keeps its picture's size")
        with self._lock:
            self.rig = rig
            self._look_from(rig)
            fingers = self._fingers
            self.occluders = self._occluders
            self._fingers = fingers

    def lay(self, *prints: Print) -> None:
        """These sheets lie on the bench from now on, instead of those before."""
        with self._lock:
            self.prints = tuple(prints)
            self._look_from(self.rig)

    # --- where the board lies -----------------------------------------------------

    @property
    def pose(self) -> Affine:
        return self._pose

    @pose.setter
    def pose(self, value: Affine) -> None:
        with self._lock:
            self._pose, self._still = value, None

    def place(self, x_mm: float, y_mm: float, rotation_rad: float) -> None:
        """The board's middle on bench (x, y), turned counter-clockwise."""
        self.pose = Affine.from_parts(rotation_rad=rotation_rad, offset=(x_mm, y_mm))

    def move(self, dx_mm: float, dy_mm: float, dtheta_rad: float = 0.0, about_mm=None) -> None:
        """A push in bench axes and a turn about a bench point (default: the spindle, else the
        board's middle)."""
        if about_mm is None:
            about_mm = self.spindle_mm
        about = self.pose.offset if about_mm is None else np.asarray(about_mm, float)
        turn = Affine.from_parts(rotation_rad=dtheta_rad)
        offset = about - turn(about)[0] + [dx_mm, dy_mm]
        self.pose = Affine(np.column_stack([turn.linear, offset])) @ self.pose

    @property
    def truth(self) -> Affine:
        return self.pose @ self._need_board().to_board

    def true_pixels(self) -> np.ndarray:
        """(N, 2) where the design's holes are in the picture, lens included."""
        xy = self._need_board().design.xy_mm
        return self.rig.to_pixels(self.truth(xy), self.thickness_mm)

    def in_view(self, margin_px: float = 0.0) -> np.ndarray:
        """(N,) bool: holes whose centre is inside the picture."""
        u, v = self.true_pixels().T
        m = margin_px
        return (u >= m) & (v >= m) & (u <= self.rig.width - 1 - m) & (v <= self.rig.height - 1 - m)

    def covered(self) -> np.ndarray:
        """(N,) bool: holes under a finger, roughly."""
        board = self._need_board()
        hidden = np.zeros(len(board.design.holes), bool)
        for finger, _ in self._fingers:
            hidden |= finger.covers(board.to_board(board.design.xy_mm))
        return hidden

    def _need_board(self) -> SimulatedBoard:
        if self.board is None:
            raise ValueError("no board lies on this bench")
        return self.board

    # --- what gets in the way -------------------------------------------------------

    @property
    def occluders(self) -> Occluders:
        return self._occluders

    @occluders.setter
    def occluders(self, value: Occluders) -> None:
        self._occluders, self._still = value, None
        rng = np.random.default_rng([self._seed, 6])
        self._spindle = SpindleOverlay(self.rig, self.thickness_mm, value, rng)
        self._fingers = ()
        if self.board is None:
            return
        if value.fingers > 0:
            points = self.board.to_board(self.board.design.xy_mm)
            placed = place_fingers(points, self.board.edge_mm, value.fingers, rng)
            tone = skin_tone(rng)
            self._fingers = tuple((finger, FingerSprite(rng, tone)) for finger in placed)
        if value.swarf:
            self.board.scatter_swarf(value.swarf)
            self._bores = self._bore_layer()

    # --- drilling --------------------------------------------------------------------

    @property
    def spindle_mm(self) -> np.ndarray | None:
        """Where the spindle axis meets the board's upper face, bench mm (2,)."""
        return self.rig.spindle_mm(self.thickness_mm)

    def drill(self, bit_mm: float) -> np.ndarray:
        """Bores where the spindle is, plus the bit's wander; returns the place, design mm (2,)."""
        board, spindle = self._need_board(), self.spindle_mm
        if spindle is None:
            raise ValueError("this rig knows no spindle axis")
        at = spindle + self._bit_rng.normal(0, self.wander_sigma_mm, 2)
        with self._lock:
            at_design = self.truth.inverse(at)[0]
            board.drill(at_design, bit_mm)
            self._still = None
        return at_design

    def _bore_layer(self) -> BoreLayer | None:
        if self.board is None:
            return None
        return BoreLayer(self.board, self.light.backlight, self._seed, self._habits)

    @property
    def habits(self) -> BenchHabits | None:
        """How holes look here; None: as the seed has it."""
        return self._habits

    @habits.setter
    def habits(self, value: BenchHabits | None) -> None:
        self._habits, self._still = value, None
        self._bores = self._bore_layer()

    def bore_kinds(self) -> list[str]:
        """What each hole drilled so far looks like (`bore_looks.KINDS`), in order of drilling."""
        return [look.kind for look in self._bores.looks()]

    def occlusion(self) -> np.ndarray:
        """bool (H, W): pixels at which fingers or the spindle stand between camera and board."""
        with self._lock:
            shown = self._scene()
            fingers, spindle = self._fingers, self._spindle
            self._fingers, self._spindle = (), None
            try:
                bare = self._scene()
            finally:
                self._fingers, self._spindle = fingers, spindle
        # fingers throw soft shadows; only what is dimmed beyond recognition counts as covered
        return cv2.absdiff(shown, bare).max(axis=2) > OCCLUDING

    # --- the picture -------------------------------------------------------------------

    def render(self) -> np.ndarray:
        """The camera's picture now, uint8 (H, W, 3) BGR; noise differs from call to call."""
        with self._lock:
            if self._bores is not None and self._bores.update(
                self.pose, self.rig.camera_mm, self.thickness_mm
            ):
                self._still = None
            if self._still is None:
                self._still = self._sensor.blur(self._scene())
            return self._sensor.expose(self._still)

    def _scene(self) -> np.ndarray:
        """What reaches the lens."""
        frame = self._bench.copy()
        if self.board is not None:
            self._draw_board(frame)
        if self._water is not None:
            frame = self._water.draw(frame)
        if self.board is not None:
            light = self.light.level * (1 - 0.6 * self.light.backlight)
            for finger, sprite in self._fingers:
                sprite.draw(frame, self.rig, self.pose, finger, self.thickness_mm, light)
        if self._spindle is not None:
            self._spindle.draw(frame)
        return frame

    def _draw_board(self, frame: np.ndarray) -> None:
        edge = _dense_ring(self.board.edge_mm)
        top = self.rig.to_pixels(self.pose(edge), self.thickness_mm)
        foot = self.rig.to_pixels(self.pose(edge), 0.0)
        roi = self._pixels.bounds(np.vstack([top, foot]), margin=40)
        if roi is None:
            return
        u0, v0, u1, v1 = roi
        part, corner = frame[v0:v1, u0:u1], np.array([u0, v0])
        self._draw_shadow(part, foot - corner)
        hull = cv2.convexHull(np.vstack([top, foot]).astype(np.float32))[:, 0] - corner
        level = self.light.level * (1 - 0.5 * self.light.backlight)
        side = tuple(float(c) for c in np.clip(_SIDE[self.board.look.laminate] * level, 0, 255))
        cv2.fillConvexPoly(part, np.rint(hull * 16).astype(np.int32), side, cv2.LINE_AA, 4)
        mask = np.zeros(part.shape[:2], np.uint8)
        cv2.fillPoly(mask, [np.rint((top - corner) * 16).astype(np.int32)], 255, cv2.LINE_8, 4)
        cv2.copyTo(self._face(roi), mask, part)

    def _draw_shadow(self, part: np.ndarray, foot: np.ndarray) -> None:
        """The board's shadow on the bench, away from the light; soft, so drawn small."""
        if self.light.backlight > 0.3:
            return
        turn = self.light.gradient_rad
        shift = 1.1 * self.thickness_mm * self.rig.px_per_mm()
        moved = foot + shift * np.array([math.cos(turn), -math.sin(turn)])
        small = np.zeros((part.shape[0] // 8 + 1, part.shape[1] // 8 + 1), np.uint8)
        for ring in (foot, moved):
            cv2.fillPoly(small, [np.rint(ring * 2).astype(np.int32)], 120, cv2.LINE_AA, 4)
        small = 255 - cv2.GaussianBlur(small, (0, 0), 1.6)
        shade = cv2.resize(small, part.shape[1::-1], interpolation=cv2.INTER_LINEAR)
        cv2.multiply(part, cv2.cvtColor(shade, cv2.COLOR_GRAY2BGR), part, scale=1 / 255)

    def _face(self, roi) -> np.ndarray:
        """The board's upper face as lit and seen, uint8 (h, w, 3)."""
        u0, v0, u1, v1 = roi
        to_texture = self.board.texture_to_board.inverse @ self.pose.inverse
        down = self.rig.plane(self.thickness_mm).inverse
        where = self._pixels.onto(to_texture @ down, roi)
        seen = cv2.remap(
            self._bores.texture, where, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        shine = cv2.extractChannel(seen, 3)
        paint = cv2.cvtColor(seen, cv2.COLOR_BGRA2BGR)
        lit = cv2.multiply(paint, self._lit[v0:v1, u0:u1], scale=1 / UNIT_LIGHT)
        gloss = cv2.multiply(shine, self._mirrored[v0:v1, u0:u1], scale=1 / 128)
        tint = gloss_tint(self.board.look)
        mirrored = cv2.merge([gloss if k == 1 else cv2.multiply(gloss, k) for k in tint])
        return cv2.add(lit, mirrored)


def _dense_ring(corners: np.ndarray, steps: int = 24) -> np.ndarray:
    """The ring with points between the corners, so that a lens may bend its sides."""
    t = np.linspace(0, 1, steps, endpoint=False)[:, None]
    nxt = np.roll(corners, -1, axis=0)
    return np.vstack([a + t * (b - a) for a, b in zip(corners, nxt, strict=True)])
