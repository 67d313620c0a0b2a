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

    def open_hole(self, patch: Patch, centre_mm, radius_mm: float, pad_mm) -> bool:
        """Whether what shows inside a rim is neither copper nor laminate."""
        distance = patch.distance_mm(centre_mm)
        inside = _median(patch, distance < 0.6 * radius_mm)
        around = _median(patch, (distance > 1.12 * radius_mm) & (distance < 1.12 * radius_mm + 0.15))
        if inside is None or around is None:
            return False
        if self.laminate is None or self.copper is None:
            return True
        gain = _gain(around, self.copper)
        step = max(float(np.linalg.norm(self.copper - self.laminate)), 1.0)
        from_laminate = float(np.linalg.norm(inside / gain - self.laminate))
        return from_laminate > max(0.35 * step, 2.0 * self.laminate_spread)

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
