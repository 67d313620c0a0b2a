"""The bench under the board: sheets of wood, plywood, card or cloth with workshop clutter."""

from __future__ import annotations

import math

import cv2
import numpy as np

from drillaid.geometry import Homography
from drillaid.rig.rig import Rig
from drillaid.simulation.projection import PixelMap
from drillaid.simulation.textures import layered_noise, rgb, soft_noise, streaks

SHEETS = ("wood", "plywood", "grey", "cloth", "white", "lightbox")
_PX_PER_MM = 9.0


class Scenery:
    """The empty bench, painted once for the view of one camera.

    What lies beyond that view is the paint mirrored at its border.
    """

    def __init__(self, rig: Rig, rng: np.random.Generator, sheet: str, clutter: int) -> None:
        self._image, self._to_texture = _painted(rig, rng, sheet, clutter)

    def seen(self, pixels: PixelMap) -> np.ndarray:
        """As a camera sees it in even light, uint8 (H, W, 3)."""
        rig = pixels.rig
        roi = (0, 0, rig.width, rig.height)
        where = pixels.onto(self._to_texture @ rig.plane(0.0).inverse, roi)
        mode = cv2.BORDER_REFLECT
        return cv2.remap(self._image, where, None, cv2.INTER_LINEAR, borderMode=mode)


def _painted(rig: Rig, rng: np.random.Generator, sheet: str, clutter: int):
    """(uint8 texture, bench mm -> its px)."""
    frame = np.array(
        [[u, v] for u in (0, rig.width / 2, rig.width) for v in (0, rig.height / 2, rig.height)]
    )
    seen = rig.to_bench(frame, 0.0)
    seen = seen[np.isfinite(seen).all(axis=1)]
    low, high = np.clip(seen.min(axis=0) - 5, -260, 260), np.clip(seen.max(axis=0) + 5, -260, 260)
    ppm = min(_PX_PER_MM, 2600 / float(max(high - low)))
    shape = (int((high[1] - low[1]) * ppm) + 1, int((high[0] - low[0]) * ppm) + 1)
    paint = _sheet(sheet, rng, shape, ppm)
    for _ in range(clutter):
        _CLUTTER[rng.integers(len(_CLUTTER))](paint, rng, ppm)
    to_texture = Homography([[ppm, 0, -low[0] * ppm], [0, -ppm, high[1] * ppm], [0, 0, 1]])
    return np.clip(paint, 0, 255).astype(np.uint8), to_texture


def _sheet(sheet: str, rng: np.random.Generator, shape, ppm: float) -> np.ndarray:
    cloud = layered_noise(rng, shape, 25 * ppm, 4)[..., None]
    grain = soft_noise(rng, shape, 1.5)[..., None]
    angle = rng.uniform(0, math.pi)
    if sheet in ("wood", "plywood"):
        base = rgb(178, 138, 92) if sheet == "wood" else rgb(204, 178, 134)
        fibre = streaks(rng, shape, angle, 220)[..., None]
        broad = _rings(rng, shape, ppm, angle)[..., None]
        shade = 1 + 0.05 * cloud + 0.06 * fibre + 0.03 * grain
        paint = shade * base
        return paint - broad * (rgb(44, 40, 34) if sheet == "wood" else rgb(26, 28, 28))
    if sheet == "cloth":
        base = rgb(52, 96, 168) if rng.random() < 0.6 else rgb(70, 92, 84)
        weave = soft_noise(rng, shape, 0.35 * ppm)[..., None]
        return (1 + 0.07 * cloud + 0.06 * weave + 0.05 * grain) * base
    if sheet == "lightbox":
        return (1 + 0.03 * cloud + 0.01 * grain) * rgb(238, 238, 232)
    base = rgb(206, 203, 196) if sheet == "white" else rgb(128, 130, 132)
    scuffs = np.clip(streaks(rng, shape, angle, 60)[..., None] - 1.8, 0, 2)
    return (1 + 0.05 * cloud + 0.02 * grain - 0.05 * scuffs) * base


def _rings(rng: np.random.Generator, shape, ppm: float, angle: float) -> np.ndarray:
    """The year rings of a planed board: stretched, wandering bands, 0 … 1."""
    height, width = shape
    y, x = np.mgrid[0:height, 0:width].astype(np.float32) / np.float32(ppm)
    across = -x * math.sin(angle) + y * math.cos(angle)
    along = x * math.cos(angle) + y * math.sin(angle)
    wander = layered_noise(rng, shape, 40 * ppm, 2)
    phase = across / 3.3 + 1.3 * wander + 0.02 * along
    return np.clip(np.sin(2 * math.pi * phase * 0.5) - 0.2, 0, 1) ** 2


# --- clutter: round things and writing that are no pads ------------------------------


def _spot(paint, rng, ppm, reach_mm):
    """(window, dx, dy, distance) in mm round a random place, or None at the border."""
    height, width = paint.shape[:2]
    reach = int(reach_mm * ppm) + 2
    if width <= 2 * reach or height <= 2 * reach:
        return None
    c, r = int(rng.integers(reach, width - reach)), int(rng.integers(reach, height - reach))
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1].astype(np.float32) / np.float32(ppm)
    return (slice(r - reach, r + reach + 1), slice(c - reach, c + reach + 1)), x, y, np.hypot(x, y)


def _blend(paint, window, alpha, colour) -> None:
    part = paint[window]
    part += alpha[..., None] * (colour - part)


def _cover(distance, ppm):
    return np.clip(distance * ppm + 0.5, 0, 1)


def _washer(paint, rng, ppm) -> None:
    outer = rng.uniform(2.5, 5.0)
    inner = outer * rng.uniform(0.4, 0.55)
    spot = _spot(paint, rng, ppm, outer + 2)
    if spot is None:
        return
    window, x, y, r = spot
    shadow = _cover(outer - np.hypot(x - 0.5, y - 0.4), ppm / 6) * _cover(r - inner, ppm)
    _blend(paint, window, 0.5 * shadow, rgb(20, 18, 16))
    tone = 1 + 0.18 * np.sin(np.arctan2(y, x) * 2 + rng.uniform(0, 6))
    metal = tone[..., None] * (rgb(168, 168, 170) if rng.random() < 0.7 else rgb(190, 160, 92))
    ring = _cover(outer - r, ppm) * _cover(r - inner, ppm)
    _blend(paint, window, ring, metal)


def _screw_head(paint, rng, ppm) -> None:
    radius = rng.uniform(1.4, 3.4)
    spot = _spot(paint, rng, ppm, radius + 1.5)
    if spot is None:
        return
    window, x, y, r = spot
    turn = rng.uniform(0, math.pi)
    u, v = x * math.cos(turn) + y * math.sin(turn), y * math.cos(turn) - x * math.sin(turn)
    slot = np.abs(v) < 0.12 * radius
    if rng.random() < 0.6:
        slot |= np.abs(u) < 0.12 * radius
        slot &= r < 0.6 * radius
    dome = 1 - 0.4 * (r / radius) ** 2 + 0.2 * x / radius
    _blend(
        paint, window, 0.5 * _cover(radius - np.hypot(x - 0.4, y - 0.4), ppm / 4), rgb(20, 18, 16)
    )
    _blend(paint, window, _cover(radius - r, ppm), dome[..., None] * rgb(150, 150, 152))
    _blend(paint, window, _cover(radius - r, ppm) * slot, rgb(40, 38, 36))


def _old_holes(paint, rng, ppm) -> None:
    """What earlier boards left in the spoil board."""
    pitch = 2.54 if rng.random() < 0.6 else rng.uniform(2, 9)
    turn, radius = rng.uniform(0, math.pi), min(rng.choice([0.4, 0.5, 0.65, 1.6]), pitch / 3)
    height, width = paint.shape[:2]
    start = rng.uniform([20, 20], [max(width - 20, 21), max(height - 20, 21)])
    for i in range(int(rng.integers(1, 7))):
        at = start + i * pitch * ppm * np.array([math.cos(turn), math.sin(turn)])
        reach = int(radius * ppm) + 4
        c, r = int(at[0]), int(at[1])
        if not (reach <= c < width - reach and reach <= r < height - reach):
            continue
        y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1].astype(np.float32) / ppm
        window = (slice(r - reach, r + reach + 1), slice(c - reach, c + reach + 1))
        _blend(paint, window, 0.8 * _cover(radius - np.hypot(x, y), ppm), rgb(44, 34, 26))


def _pencil(paint, rng, ppm) -> None:
    """A line and a few mock letters."""
    height, width = paint.shape[:2]
    at = rng.uniform([0, 0], [width, height])
    dark = tuple(float(v) for v in rng.uniform(40, 90) * np.ones(3))
    if rng.random() < 0.5:
        to = at + rng.normal(0, 30 * ppm, 2)
        cv2.line(paint, _ints(at), _ints(to), dark, max(1, int(0.3 * ppm)), cv2.LINE_AA)
        return
    word = "".join(rng.choice(list("0123456789.,+-x=/")) for _ in range(int(rng.integers(2, 7))))
    scale = float(rng.uniform(0.07, 0.16)) * ppm
    font = int(rng.choice([cv2.FONT_HERSHEY_SIMPLEX, cv2.FONT_HERSHEY_SCRIPT_SIMPLEX]))
    ink = np.zeros((int(60 * scale), int(220 * scale)), np.uint8)
    cv2.putText(ink, word, (4, int(40 * scale)), font, scale, 255, max(1, int(0.35 * ppm)))
    c, r = _ints(at)
    part = paint[r : r + ink.shape[0], c : c + ink.shape[1]]
    alpha = ink[: part.shape[0], : part.shape[1], None].astype(np.float32) / 255
    part += 0.85 * alpha * (dark[0] - part)


def _scrap(paint, rng, ppm) -> None:
    """An offcut of copper-clad board or a bit of wire."""
    height, width = paint.shape[:2]
    at = rng.uniform([0, 0], [width, height])
    turn = rng.uniform(0, math.pi)
    if rng.random() < 0.5:
        bend = np.cumsum(rng.normal(0, 0.25, 24)) + turn
        path = at + np.cumsum(np.column_stack([np.cos(bend), np.sin(bend)]), axis=0) * ppm
        colour = [(60, 60, 190), (70, 60, 60), (90, 150, 200), (150, 150, 150)][rng.integers(4)]
        thick = max(1, int(rng.uniform(0.5, 1.1) * ppm))
        cv2.polylines(paint, [np.rint(path).astype(np.int32)], False, colour, thick, cv2.LINE_AA)
        return
    size = rng.uniform([4, 3], [18, 9]) * ppm
    box = cv2.boxPoints((tuple(map(float, at)), tuple(map(float, size)), math.degrees(turn)))
    cv2.fillConvexPoly(paint, np.rint(box + 0.6 * ppm).astype(np.int32), (40, 44, 48), cv2.LINE_AA)
    copper = tuple(float(v) for v in rgb(182, 118, 88) * rng.uniform(0.8, 1.1))
    cv2.fillConvexPoly(paint, np.rint(box).astype(np.int32), copper, cv2.LINE_AA)


def _ints(xy) -> tuple[int, int]:
    return int(round(float(xy[0]))), int(round(float(xy[1])))


_CLUTTER = (_washer, _screw_head, _old_holes, _old_holes, _pencil, _scrap)
