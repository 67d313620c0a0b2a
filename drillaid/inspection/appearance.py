"""What untouched copper and bare laminate look like on this board, and what does not.

A drilled hole and an etched centre mark are both round and both not copper. They
differ in what shows inside: laminate in the mark, depth in the hole. What the
two colours are is learnt from the board itself, near the pad in question first,
since light falls unevenly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drillaid.inspection.patch import Patch


@dataclass(frozen=True, eq=False)
class Colours:
    """Whole-board medians, BGR (3,), and one sigma of a single place about them.

    None where the design gives no place to learn from.
    """

    copper: np.ndarray | None
    laminate: np.ndarray | None
    copper_spread: float = 12.0
    laminate_spread: float = 12.0

    @property
    def step(self) -> float:
        """Between the two, grey levels."""
        if self.copper is None or self.laminate is None:
            return 60.0
        return max(float(np.linalg.norm(self.copper - self.laminate)), 20.0)

    def strangeness(self, patch: Patch, at_mm, bit_mm: float, land_mm: float) -> np.ndarray:
        """How far each pixel is from copper, laminate and any mixture of the two,
        float32 (S, S), grey levels.

        Copper is that of the pad's own ring, so that shade and tarnish count little.
        """
        distance = patch.distance_mm(at_mm)
        ring = (distance > bit_mm / 2 + 0.1) & (distance < land_mm / 2 - 0.06)
        copper = _median(patch, ring)
        copper = self.copper if copper is None else copper
        if copper is None or self.copper is None:
            return np.zeros(patch.image.shape[:2], np.float32)
        laminate = copper if self.laminate is None else self.laminate * _gain(copper, self.copper)
        along = (laminate - copper).astype(np.float32)
        away = patch.image - copper.astype(np.float32)
        share = np.clip((away @ along) / max(float(along @ along), 1e-6), 0, 1)
        off = np.linalg.norm(away - share[..., None] * along, axis=2)
        return np.minimum(off, 0.8 * self.step).astype(np.float32)

    def depth(self, patch: Patch, strange: np.ndarray, rim) -> float:
        """How much stranger the inside of a rim is than its surroundings, in colour steps."""
        distance = patch.distance_mm(rim.centre_mm)
        edge = 1.15 * rim.radius_mm
        inside = strange[(distance < 0.8 * rim.radius_mm) & patch.inside]
        around = strange[(distance > edge) & (distance < edge + 0.2) & patch.inside]
        if not len(inside) or not len(around):
            return 0.0
        return float(inside.mean() - around.mean()) / max(self.step, 40.0)

    def undrilled(self, patch: Patch, at_mm, bit_mm: float, land_mm: float) -> str | None:
        """Why the place counts as not drilled; None where something else may be there.

        Looked at is the belt at the bit's edge, which an etched mark leaves alone.
        """
        distance = patch.distance_mm(at_mm)
        radius = bit_mm / 2
        low, high = 0.8 * radius, max(min(1.15 * radius, land_mm / 2 - 0.05), radius)
        belt = (distance > low) & (distance < high) & patch.inside
        values = patch.image[belt]
        if self.copper is None or len(values) < 5:
            return "no edge of a hole is to be seen" if len(values) >= 5 else None
        ring = (distance > bit_mm / 2 + 0.1) & (distance < land_mm / 2 - 0.06) & patch.inside
        around = patch.image[ring] if ring.sum() >= 20 else self.copper[None]
        copper = np.median(around, axis=0)
        uneven = float(np.median(np.linalg.norm(around - copper, axis=1))) / 1.18
        same = np.linalg.norm(values - copper, axis=1) < max(3.0 * uneven, 0.12 * self.step, 10.0)
        like_copper = np.linalg.norm(copper - self.copper)
        if same.mean() > 0.7 and like_copper < max(5.0 * self.copper_spread, 0.5 * self.step):
            return "the pad is untouched"
        if self.laminate is not None:
            bare = np.linalg.norm(values - self.laminate, axis=1)
            if (bare < max(3.0 * self.laminate_spread, 0.25 * self.step)).mean() > 0.7:
                return "no hole, and no copper to be seen either"
        return None


def _median(patch: Patch, where: np.ndarray) -> np.ndarray | None:
    values = patch.image[where & patch.inside]
    return np.median(values, axis=0) if len(values) >= 5 else None


def _gain(seen: np.ndarray, usual: np.ndarray) -> float:
    """How much brighter it is here than usual, within reason."""
    return float(np.clip(seen.sum() / max(usual.sum(), 1.0), 0.6, 1.6))


def learn_colours(places: Sequence[tuple]) -> Colours:
    """places: (patch, at_mm, bit_mm, land_mm, crowded); crowded ones tell of copper only."""
    copper, laminate = [], []
    for patch, at_mm, bit_mm, land_mm, crowded in places:
        distance = patch.distance_mm(at_mm)
        ring = (distance > bit_mm / 2 + 0.1) & (distance < land_mm / 2 - 0.06)
        _note(copper, patch, ring)
        if not crowded:
            _note(laminate, patch, (distance > land_mm / 2 + 0.15) & (distance < land_mm / 2 + 0.4))
    copper_mid, copper_spread = _typical(copper)
    laminate_mid, laminate_spread = _typical(laminate)
    return Colours(copper_mid, laminate_mid, copper_spread, laminate_spread)


def _note(values: list, patch: Patch, where: np.ndarray) -> None:
    colour = _median(patch, where)
    if colour is not None:
        values.append(colour)


def _typical(values: list) -> tuple[np.ndarray | None, float]:
    if not values:
        return None, 12.0
    array = np.array(values)
    middle = np.median(array, axis=0)
    spread = float(np.median(np.linalg.norm(array - middle, axis=1))) / 1.18
    return middle, max(spread, 4.0)
