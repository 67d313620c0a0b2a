"""Has the pad a hole now? Told from pictures before and after, to count it without a pedal.

A pad is compared with itself: what it looked like on its way to the spindle, and what it
looks like once it has been under it and has come away again. Never in place: the bit, its
shadow and the chuck stand just where the hole would be. Counted is only a round patch of
the bit's own size that was not there before, at the place, seen through a movement of the
board; anything else is "not sure", and the pedal counts. A dent as wide as the bit cannot be
told from a hole.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from drillaid.guidance.guidance import Guidance
from drillaid.inspection.patch import Board, Patch, cut
from drillaid.registration.result import Placement, Registration
from drillaid.rig.rig import Rig

HOLE, UNTOUCHED, NOT_SURE = "hole", "untouched", "not_sure"

AWAY_MM = 1.3  # from the spindle, beside the bit's own radius: nothing of it hides the pad there
APART_MM = 0.25  # between two looks that count as two
BEFORE, AFTER = 9, 3  # looks at most, at least
BEFORE_MM = 0.6  # between two of the first
REFERENCES = 3
ALBUM, ALBUM_MM = 6, 4.0  # earlier pictures that are kept, and the board's movement between two
WITHIN_MM = 0.3  # of the pad's middle, for the hole's: it was steady within tolerance before
STEP = 0.15  # of the surroundings' brightness: what a hole changes, at least
CLEAR = 2.2  # times what the belt round it changes
AROUND = 0.12  # of that brightness: what may change about the hole, at most
ROUND = 0.45  # the least changed eighth but one of the hole against the mean
WIDER = 0.75  # the most changed eighth but one round about, against the mean of the hole
RINGS = ((0.55, 0.7, 0.85), (0.95, 1.05, 1.15), (1.45, 1.6, 1.75))  # of the bit's radius
GRID_MM = 0.06
SHIFT_MM = 0.06  # by which two looks at one pad may be out of register
EVERY_S = 0.07  # between two judgements: each costs as much as following a picture
WAIT_S = 120.0  # after being on target; then only the pedal counts


@dataclass(frozen=True)
class Look:
    """verdict: HOLE, UNTOUCHED or NOT_SURE; reason: a few words; change: in the hole's belt, in
    parts of the surroundings' brightness; off_mm: of the hole's middle, design axes"""

    verdict: str
    reason: str
    change: float = 0.0
    off_mm: tuple[float, float] | None = None


def pad_patch(
    image: np.ndarray, placement: Placement, rig: Rig, thickness_mm: float, xy_mm, half_mm: float
) -> Patch | None:
    """The pad squarely in design axes, whichever way the board lies; None where it is not shown.

    placement.matrix: design mm -> mm of the rig's plane at thickness_mm
    """

    def to_pixels(at_mm):
        return rig.to_pixels(placement.matrix(at_mm), thickness_mm)

    def same(at_mm):
        return at_mm

    return cut(
        Board(image, to_pixels, same, same, rig.px_per_mm(thickness_mm)), xy_mm, half_mm
    )  # fmt: skip


def compare(before: Sequence[np.ndarray], after: Patch, xy_mm, bit_mm: float) -> Look:
    """before: float32 (S, S, 3) each, the same square as `after` earlier; xy_mm: the pad's middle

    What counts as change differs from all of the three earlier looks whose surroundings agree
    best with `after`: what passed over the pad in one of them is no change.
    """
    before = [image for image in before if image.shape == after.image.shape]
    if not before or not after.inside.all():
        return Look(NOT_SURE, "the pad is at the picture's edge")
    radius = bit_mm / 2
    far = after.distance_mm(xy_mm) > 1.2 * radius + WITHIN_MM
    light = float(np.median(after.image[far].max(axis=1)))
    if light < 20.0:
        return Look(NOT_SURE, "it is too dark about the pad")
    changes = []
    for image in before:
        level = _level(image, after.image, far)
        if level is not None:
            change = _beyond(image * level, after.image, after.px_per_mm) / light
            changes.append((float(np.percentile(change[far], 80)), change))
    changes.sort(key=lambda row: row[0])
    best = [change for around, change in changes[:REFERENCES] if around < AROUND]
    if len(best) < min(REFERENCES, len(before)):
        return Look(NOT_SURE, "something lies over the pad, or the light has changed")
    return _judged(np.min(best, axis=0), after, xy_mm, radius)


def _judged(change: np.ndarray, patch: Patch, xy_mm, radius: float) -> Look:
    """A hole changes its inside or, where the pad is as dark, its rim with the burr: all round."""
    at, rings = _rings_at_best(change, patch, xy_mm, radius)
    each = np.maximum(rings[0], rings[1])
    outside = rings[2]
    inside = float(each.mean())
    off = tuple(float(v) for v in at - np.asarray(xy_mm))
    if inside < 0.5 * STEP:
        return Look(UNTOUCHED, "the pad looks as before", inside, off)
    if inside < STEP or inside < CLEAR * outside.mean():
        return Look(NOT_SURE, "something has changed, but not as a hole would", inside, off)
    if np.sort(each)[1] < ROUND * inside:  # one eighth may mirror a lamp
        return Look(NOT_SURE, "what has changed is not round", inside, off)
    if np.sort(outside)[-2] > WIDER * inside:
        return Look(NOT_SURE, "what has changed is wider than the bit", inside, off)
    return Look(HOLE, "a hole of the bit's size", inside, off)


def _rings_at_best(change, patch: Patch, xy_mm, radius: float) -> tuple[np.ndarray, np.ndarray]:
    """The place within reach that looks most like a hole, (2,) design mm, and the mean change
    in eight sectors of its three rings there, (3, 8): inside, rim, outside."""
    step = max(1.0, GRID_MM * patch.px_per_mm)
    reach = np.arange(-WITHIN_MM * patch.px_per_mm, WITHIN_MM * patch.px_per_mm + 1e-9, step)
    grid = np.stack(np.meshgrid(reach, reach), axis=-1).reshape(-1, 2)
    grid = grid[np.hypot(*grid.T) <= WITHIN_MM * patch.px_per_mm]
    centres = patch.to_px(xy_mm)[0] + grid
    angle = (np.arange(24) + 0.5) * (2 * np.pi / 24)
    out = np.column_stack([np.cos(angle), np.sin(angle)])
    radii = np.concatenate(RINGS) * radius * patch.px_per_mm
    at = centres[:, None, None, :] + radii[None, :, None, None] * out
    u, v = np.rint(at).astype(int).transpose(3, 0, 1, 2)
    last = np.array(change.shape[::-1]) - 1
    soft = cv2.blur(change.astype(np.float32), (3, 3))
    values = soft[np.clip(v, 0, last[1]), np.clip(u, 0, last[0])]
    sectors = values.reshape(len(centres), len(radii), 8, 3).mean(axis=3)
    ends = np.cumsum([len(ring) for ring in RINGS])[:-1]
    rings = np.stack([part.mean(axis=1) for part in np.split(sectors, ends, axis=1)], axis=1)
    each = np.maximum(rings[:, 0], rings[:, 1])
    score = np.sort(each, axis=1)[:, 1] + 0.5 * each.mean(axis=1) - rings[:, 2].mean(axis=1)
    best = int(np.argmax(score))
    return patch.origin_mm + centres[best] / patch.px_per_mm, rings[best]


def _level(before: np.ndarray, after: np.ndarray, far: np.ndarray) -> np.ndarray | None:
    """(3,) how much brighter each colour is now, by what lies about the hole."""
    was, now = before[far], after[far]
    ratio = np.median((now + 4.0) / (was + 4.0), axis=0)
    return None if (ratio < 0.5).any() or (ratio > 2.0).any() else ratio


def _beyond(before: np.ndarray, after: np.ndarray, px_per_mm: float) -> np.ndarray:
    """How far each pixel is from all that lay within SHIFT_MM of it before, (S, S).

    So an edge that is seen a little beside its place, or blurred otherwise, is no change.
    """
    reach = 2 * max(1, round(SHIFT_MM * px_per_mm)) + 1
    near = np.ones((reach, reach), np.uint8)
    over = after - cv2.dilate(before, near)
    under = cv2.erode(before, near) - after
    return np.maximum(np.maximum(over, under), 0.0).mean(axis=2)


class HoleWatch:
    """Fed with each picture and its guidance; says when the target's hole has been seen.

    eye: () -> (rig, height of the upper face in mm) as the registration uses them now, or None
    """

    def __init__(
        self, eye: Callable[[], tuple[Rig, float] | None], away_mm: float = AWAY_MM
    ) -> None:
        self._eye, self._away_mm = eye, away_mm
        self.last: Look | None = None
        self._album: deque[tuple] = deque(maxlen=ALBUM)
        self._begin(None)

    def _begin(self, stop) -> None:
        self._stop = stop
        self._before: deque[np.ndarray] = deque(maxlen=BEFORE)
        self._place: np.ndarray | None = None
        self._holes: list[np.ndarray] = []
        self._on_s: float | None = None
        self._judged_s = -WAIT_S
        self.last = None

    def look(self, image: np.ndarray, registration: Registration, guidance: Guidance) -> bool:
        """True where the target's hole is seen; the caller counts it, and the target changes.

        image: uint8 BGR (H, W, 3); some are kept, so nobody may write into it later
        """
        place, eye, stop = registration.placement, self._eye(), guidance.target
        if place is None or place.matrix is None or eye is None or guidance.off_mm is None:
            self._holes.clear()
            return False
        if stop != self._stop:
            self._begin(stop)
            for earlier in self._album:
                self._remember(*earlier, eye)
        if guidance.can_confirm:
            self._on_s = guidance.time_s
        at = np.array(guidance.off_mm)
        spindle = place.matrix(stop.xy_mm)[0] + at
        self._keep(image, place, spindle)
        if np.hypot(*at) < self._clear_mm():
            return False
        if self._on_s is None:
            if self._place is None or np.hypot(*(at - self._place)) >= BEFORE_MM:
                self._place = at
                self._remember(image, place, spindle, eye)
            return False
        if guidance.time_s - self._on_s > WAIT_S or not self._before:
            return False
        if guidance.time_s - self._judged_s < EVERY_S:
            return False
        self._judged_s = guidance.time_s
        patch = self._patch(image, place, eye)
        return patch is not None and self._judge(patch, at, stop)

    def forget(self) -> None:
        """The target was not counted: begin anew with it."""
        self._begin(None)

    def _clear_mm(self) -> float:
        return self._away_mm + self._stop.bit_mm / 2

    def _keep(self, image: np.ndarray, place: Placement, spindle: np.ndarray) -> None:
        """Now and then a picture for targets to come, wherever their pads lie in it."""
        if self._album:
            _, before, then = self._album[-1]
            moved = place.matrix(before.matrix.inverse(then))[0] - spindle
            if np.hypot(*moved) < ALBUM_MM:
                return
        self._album.append((image, place, spindle))

    def _patch(self, image: np.ndarray, place: Placement, eye) -> Patch | None:
        half = 0.9 * self._stop.bit_mm + WITHIN_MM + 0.45
        return pad_patch(image, place, *eye, self._stop.xy_mm, half)

    def _remember(self, image: np.ndarray, place: Placement, spindle: np.ndarray, eye) -> None:
        """How the pad looks before, where the spindle is not over it."""
        if np.hypot(*(place.matrix(self._stop.xy_mm)[0] - spindle)) < self._clear_mm():
            return
        patch = self._patch(image, place, eye)
        if patch is None or not patch.inside.all():
            return
        if self._before and self._before[-1].shape != patch.image.shape:
            self._before.clear()
        self._before.append(patch.image)

    def _judge(self, patch: Patch, at: np.ndarray, stop) -> bool:
        self.last = compare(self._before, patch, stop.xy_mm, stop.bit_mm)
        if self.last.verdict != HOLE:
            self._holes.clear()
            return False
        self._holes.append(at)
        moved = max(float(np.hypot(*(at - other))) for other in self._holes)
        return len(self._holes) >= AFTER and moved >= APART_MM
