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
        """How little each pixel is like the copper hereabouts, float32 (S, S), grey levels."""
        distance = patch.distance_mm(at_mm)
        ring = (distance > bit_mm / 2 + 0.1) & (distance < land_mm / 2 - 0.06)
        here = _median(patch, ring)
        if here is None:
            here = self.copper
        if here is None:
            return np.zeros(patch.image.shape[:2], np.float32)
        away = np.linalg.norm(patch.image - here, axis=2)
        return np.minimum(away, self.step).astype(np.float32)

    def open_hole(self, patch: Patch, centre_mm, radius_mm: float) -> bool:
        """Whether a rim encloses neither more of the same surface nor an etched mark."""
        distance = patch.distance_mm(centre_mm)
        values = patch.image[(distance < 0.8 * radius_mm) & patch.inside]
        around = patch.image[
            (distance > 1.12 * radius_mm) & (distance < 1.12 * radius_mm + 0.15) & patch.inside
        ]
        if len(values) < 5 or len(around) < 5:
            return False
        ring = np.median(around, axis=0)
        same = np.linalg.norm(values - ring, axis=1) < 0.25 * self.step
        if same.mean() > 0.35:
            return False
        if self.laminate is None or self.copper is None:
            return True
        # An etched mark shows laminate and nothing darker; a bore has a floor or shaded walls.
        gain = _gain(ring, self.copper)
        laminate = np.linalg.norm(values / gain - self.laminate, axis=1) < 0.45 * self.step
        dark = values.sum(axis=1) < 0.72 * gain * min(self.laminate.sum(), self.copper.sum() * 1.3)
        return bool(laminate.mean() < 0.75 or dark.mean() > 0.08)

    def undrilled(self, patch: Patch, at_mm, bit_mm: float, land_mm: float) -> str | None:
        """Why the place counts as not drilled; None where something else is there."""
        distance = patch.distance_mm(at_mm)
        belt = (distance > 0.62 * bit_mm / 2) & (distance < max(1.15 * bit_mm, 0.85 * land_mm) / 2)
        if self.copper is None or self.laminate is None:
            return "no edge of a hole is to be seen"
        values = patch.image[belt & patch.inside]
        if not len(values):
            return None
        near_copper = np.linalg.norm(values - self.copper, axis=1)
        near_laminate = np.linalg.norm(values - self.laminate, axis=1)
        step = max(float(np.linalg.norm(self.copper - self.laminate)), 1.0)
        copper = near_copper < max(3.5 * self.copper_spread, 0.5 * step)
        laminate = near_laminate < max(3.5 * self.laminate_spread, 0.4 * step)
        if (copper | laminate).mean() < 0.6:
            return None
        if (copper & (near_copper <= near_laminate)).mean() > 0.5:
            return "the pad is untouched"
        return "no hole, and no copper to be seen either"


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
