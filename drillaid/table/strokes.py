"""How the bit goes down: feed, pecks and depth for its diameter.

Feed: F = chip load x speed (drill maker's formula, as in published tables:
chip load [um/rev] = F [m/min] / N x 10^6). The chip load, 0.04 mm for each mm of
diameter and at most 0.05 mm, and pecks of two diameters are common practice, no
source. The tip of a 118 degree point is 0.3 of the diameter long: (d/2) / tan(59 deg).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from drillaid.table.setup import TableSetup

CHIP_PER_MM, MOST_CHIP_MM = 0.04, 0.05
PECKS_OF = 2.0  # diameters
TIP_OF = 0.5 / math.tan(math.radians(59))  # diameters
BELOW_MM = 0.3  # into the spoil board, so that no skin of copper stays
ABOVE_MM = 0.5  # feed begins so far above the face
DEFAULT_RPM = 10_000.0


@dataclass(frozen=True)
class Stroke:
    """One motion of Z. feed_mm_min: None for rapid."""

    z_mm: float
    feed_mm_min: float | None = None


def strokes(setup: TableSetup, bit_mm: float, thickness_mm: float) -> tuple[Stroke, ...]:
    """Down through the board in pecks, up between them; ends wherever the last peck ends."""
    if not bit_mm > 0 or not thickness_mm > 0:
        raise ValueError("bit and board have a size")
    feed = setup.feed_mm_min or feed_mm_min(bit_mm, setup.spindle_rpm or DEFAULT_RPM)
    feed = min(feed, 60 * setup.pace.speed_mm_s[2])
    peck = setup.peck_mm or max(PECKS_OF * bit_mm, 0.5)
    top = setup.surface_z_mm + ABOVE_MM
    depth = thickness_mm + TIP_OF * bit_mm + BELOW_MM
    count = max(1, math.ceil(depth / peck - 1e-9))
    made = [Stroke(min(top, setup.safe_z_mm))]
    for k in range(1, count + 1):
        made.append(Stroke(setup.surface_z_mm - depth * k / count, feed))
        if k < count:
            made.append(Stroke(min(top, setup.safe_z_mm)))
    return tuple(made)


def feed_mm_min(bit_mm: float, rpm: float) -> float:
    """mm/min."""
    return min(CHIP_PER_MM * bit_mm, MOST_CHIP_MM) * rpm
