"""What gets in the camera's way: the spindle with its bit, and the hand on the board."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.geometry import Affine
from drillaid.rig.rig import Rig
from drillaid.simulation.textures import layered_noise, rgb, soft_noise, streaks


@dataclass(frozen=True)
class Occluders:
    """bit: the raised bit is in view; chuck: and the chuck above it;
    fingers: share of the holes under fingers, 0 … 0.6; swarf: flecks lying about.
    """

    bit: bool = False
    chuck: bool = False
    fingers: float = 0.0
    swarf: int = 0


# (height of the lower end over the board, of the upper end, radius there and there, grey), mm
_BIT = ((6.0, 16.0, 0.4, 0.4, 120), (16.0, 24.0, 1.2, 1.2, 165))
_CHUCK = ((24.0, 29.0, 2.6, 5.2, 110), (29.0, 44.0, 5.2, 5.2, 85))


class SpindleOverlay:
    """Bit and chuck as the camera sees them; neither moves against the camera."""

    def __init__(self, rig: Rig, face_mm: float, occluders: Occluders, rng: np.random.Generator):
        pieces = (_BIT if occluders.bit else ()) + (_CHUCK if occluders.chuck else ())
        self.image = np.zeros((rig.height, rig.width, 3), np.uint8)
        self.mask = np.zeros((rig.height, rig.width), np.uint8)
        if rig.axis_mm is None:
            return
        for low, high, r_low, r_high, grey in pieces:
            self._piece(rig, face_mm + low, face_mm + high, r_low, r_high, grey, rng)

    def _piece(self, rig: Rig, z0, z1, r0, r1, grey: int, rng: np.random.Generator) -> None:
        """A piece of the spindle, its sides shaded, the upper end (nearest to the camera) last."""
        z1 = min(z1, 0.8 * float(rig.camera_mm[2]))
        if z1 <= z0:
            return
        turn = np.linspace(0, 2 * math.pi, 49)
        around = np.column_stack([np.cos(turn), np.sin(turn)])
        lit = 0.62 + 0.3 * np.cos(turn - 2.2) + 0.22 * np.exp(-(((turn - 4.6) / 0.25) ** 2))
        below = None
        for t in np.linspace(0, 1, 10):
            z, r = z0 + t * (z1 - z0), r0 + t * (r1 - r0)
            px = rig.to_pixels(rig.spindle_mm(z) + r * around, z)
            if not np.isfinite(px).all() or np.abs(px).max() > 20000:
                return
            if below is not None:
                for k in range(48):
                    quad = [below[k], below[k + 1], px[k + 1], px[k]]
                    self._fill(quad, grey * lit[k] * (0.9 + 0.2 * t))
            below = px
        self._fill(below, grey * 0.8)
        for share in (0.92, 0.6, 0.35):
            ring = below.mean(axis=0) + share * (below - below.mean(axis=0))
            self._fill(ring, grey * (0.55 + 0.5 * share) + float(rng.normal(0, 5)))

    def _fill(self, px, shade: float) -> None:
        at = np.rint(np.asarray(px) * 16).astype(np.int32)
        shade = min(shade, 250.0)
        cv2.fillPoly(self.image, [at], (shade * 1.02, shade, shade * 0.98), cv2.LINE_8, 4)
        cv2.fillPoly(self.mask, [at], 255, cv2.LINE_8, 4)

    def draw(self, frame: np.ndarray) -> None:
        if self.mask.any():
            cv2.copyTo(self.image, self.mask, frame)


_WIDTH_MM, _LENGTH_MM, _SKIN_PX = 15.0, 75.0, 9.0


@dataclass(frozen=True)
class Finger:
    """Lies on the board: tip in board mm, pointing from outside along heading_rad."""

    tip_mm: tuple[float, float]
    heading_rad: float

    def covers(self, board_mm: np.ndarray) -> np.ndarray:
        """(N,) bool: which board points it hides, seen from straight above."""
        c, s = math.cos(self.heading_rad), math.sin(self.heading_rad)
        d = board_mm - self.tip_mm
        back = -(d[:, 0] * c + d[:, 1] * s)
        side = d[:, 1] * c - d[:, 0] * s
        half = _WIDTH_MM / 2
        along = np.clip(back, half, _LENGTH_MM)
        return np.hypot(back - along, side) < half


def place_fingers(
    board_mm: np.ndarray, edge_mm: np.ndarray, share: float, rng: np.random.Generator
) -> tuple[Finger, ...]:
    """Fingers that come in over the edges until about `share` of the points lie under them."""
    fingers: list[Finger] = []
    hidden = np.zeros(len(board_mm), bool)
    low, high = edge_mm.min(axis=0), edge_mm.max(axis=0)
    for _ in range(60):
        if hidden.mean() >= 0.85 * share or len(fingers) >= 6:
            break
        side = int(rng.integers(4))
        heading = [0.0, math.pi / 2, math.pi, -math.pi / 2][side] + rng.normal(0, 0.35)
        along = rng.uniform(0.1, 0.9, 2) * (high - low) + low
        depth = rng.uniform(4, 26)
        start = along.copy()
        start[side % 2] = (low if side < 2 else high)[side % 2]
        tip = start + depth * np.array([math.cos(heading), math.sin(heading)])
        finger = Finger((float(tip[0]), float(tip[1])), float(heading))
        more = hidden | finger.covers(board_mm)
        if more.mean() <= share and more.sum() > hidden.sum():
            fingers.append(finger)
            hidden = more
    return tuple(fingers)


def skin_tone(rng: np.random.Generator) -> np.ndarray:
    """One operator's, BGR float32 (3,)."""
    tones = (222, 168, 140), (198, 144, 112), (150, 102, 76), (104, 70, 52)
    return rgb(*tones[rng.integers(len(tones))])


class FingerSprite:
    """One finger's picture, pasted where the board carries it. tone: BGR of the skin."""

    def __init__(self, rng: np.random.Generator, tone: np.ndarray):
        height, width = int((_WIDTH_MM + 6) * _SKIN_PX), int(_LENGTH_MM * _SKIN_PX)
        y, x = np.mgrid[0:height, 0:width].astype(np.float32) / np.float32(_SKIN_PX)
        y = y - (_WIDTH_MM + 6) / 2
        half = _WIDTH_MM / 2 * (1 - 0.05 * np.cos(x / 9))
        centre = np.maximum(half + 1.0 - x, 0)
        r = np.hypot(centre, y) / half
        round_ = np.sqrt(np.clip(1 - r * r, 0, 1))
        skin = (0.55 + 0.5 * round_ + 0.014 * soft_noise(rng, y.shape, 3))[..., None] * tone
        wrinkles = np.exp(-(((x % 24) - 21) ** 2) / 1.5) * (
            0.4 + 0.3 * streaks(rng, y.shape, 1.57, 30)
        )
        skin *= (1 - 0.12 * np.clip(wrinkles, 0, 1))[..., None]
        nail = np.clip(6 * (1 - np.hypot((x - 7) / 6, y / (0.36 * _WIDTH_MM))), 0, 1)
        skin += (0.55 * nail)[..., None] * (tone * 1.06 + 22 - skin)
        skin *= (1 + 0.04 * layered_noise(rng, y.shape, 60, 2))[..., None]
        alpha = np.clip((1 - r) * half * _SKIN_PX / 2, 0, 1)
        shadow = 0.5 * np.clip(1.0 - np.maximum(r - 0.9, 0) / 0.45, 0, 1)
        # What is added, and what is kept of the ground under finger and shadow.
        added = np.clip(skin, 0, 255) * alpha[..., None]
        kept = 255 * (1 - shadow) * (1 - alpha)
        self._picture = np.dstack([added, kept]).astype(np.uint8)

    def draw(self, frame, rig: Rig, pose: Affine, finger: Finger, face_mm: float, light) -> None:
        """light: float, brightness of the scene."""
        c, s = math.cos(finger.heading_rad), math.sin(finger.heading_rad)
        half = (_WIDTH_MM + 6) / 2
        back = np.array([-c, -s])
        side = np.array([-s, c])
        tip = np.array(finger.tip_mm) - back
        corners = [tip + half * side, tip + half * side + _LENGTH_MM * back, tip - half * side]
        px = rig.to_pixels(pose(corners), face_mm + 5.0).astype(np.float32)
        height, width = self._picture.shape[:2]
        matrix = cv2.getAffineTransform(np.float32([[0, 0], [width, 0], [0, height]]), px)
        outer = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
        box = outer @ matrix[:, :2].T + matrix[:, 2]
        u0, v0 = np.maximum(np.floor(box.min(axis=0)), 0).astype(int)
        u1, v1 = np.minimum(np.ceil(box.max(axis=0)), frame.shape[1::-1]).astype(int)
        if u0 >= u1 or v0 >= v1:
            return
        matrix[:, 2] -= [u0, v0]
        seen = cv2.warpAffine(
            self._picture, matrix, (int(u1 - u0), int(v1 - v0)), borderValue=(0, 0, 0, 255)
        )
        part = frame[v0:v1, u0:u1]
        kept = cv2.cvtColor(cv2.extractChannel(seen, 3), cv2.COLOR_GRAY2BGR)
        cv2.multiply(part, kept, part, scale=1 / 255)
        skin = cv2.cvtColor(seen, cv2.COLOR_BGRA2BGR)
        cv2.scaleAdd(skin, light, part, part)
