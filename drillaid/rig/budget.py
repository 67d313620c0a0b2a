"""What limits the hole in hand: one error budget in mm, part by part.

Each part is one sigma of the distance between where the bit will meet the board and
where the hole should be. What board and spindle share falls out of `lens` and `bench`:
both are seen through the same rig (`RigDoubt.under_spindle_mm2`). A part that the rig
file says nothing about is None and counts as 0; `unknown` names it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from drillaid.geometry import Affine
from drillaid.rig.doubt import RigDoubt, covariance_of
from drillaid.rig.rig import Rig

PARTS = ("registration", "lens", "bench", "height", "spindle")
# One sigma of a board's thickness as told, mm: callipers on a cut edge (common practice, no
# source). Laminate that nobody measured is off by far more.
HEIGHT_SIGMA_MM = 0.05
_NAMES = {
    "registration": "board's place",
    "lens": "lens",
    "bench": "bench plane",
    "height": "board's thickness",
    "spindle": "spindle axis",
}
_ADVICE = {
    "registration": "clean and light the board better, show more of it, or give its copper",
    "lens": "calibrate the lens with more views, tilted and into the picture's corners",
    "bench": "make the bench plane anew with a flat, measured sheet that fills the picture",
    "height": "measure the board's thickness with callipers and give it with --thickness",
    "spindle": "drill more holes in scrap, as thick as the boards, for calibrate spindle",
}


@dataclass(frozen=True)
class Budget:
    """All in mm, one sigma of a distance; None: the rig file does not say."""

    registration_mm: float | None
    lens_mm: float | None
    bench_mm: float | None
    height_mm: float | None
    spindle_mm: float | None

    def _known(self) -> dict[str, float]:
        values = {name: getattr(self, f"{name}_mm") for name in PARTS}
        return {name: value for name, value in values.items() if value is not None}

    @property
    def total_mm(self) -> float:
        return math.sqrt(sum(value**2 for value in self._known().values()))

    @property
    def rig_mm(self) -> float:
        """All but the registration."""
        return math.sqrt(sum(v**2 for name, v in self._known().items() if name != "registration"))

    @property
    def unknown(self) -> tuple[str, ...]:
        return tuple(name for name in PARTS if name not in self._known())

    @property
    def limits(self) -> str:
        """The largest part."""
        known = self._known()
        return max(known, key=known.__getitem__)

    def sentence(self) -> str:
        """What limits, and what would help."""
        known = self._known()
        parts = ", ".join(f"{name} {value:.3f}" for name, value in known.items())
        told = (
            f"Expected error {self.total_mm:.3f} mm ({parts}); {self.limits} limits it: "
            f"{_ADVICE[self.limits]}."
        )
        if self.unknown:
            told += f" Not known from the rig file: {', '.join(self.unknown)}."
        return told

    def short(self) -> str:
        """As short as a person at the drill reads it: how well, and by what it is limited."""
        return f"Known to {self.total_mm:.2f} mm; most of that is the {_NAMES[self.limits]}."

    def to_data(self) -> dict:
        """For events and reports."""
        values = {f"{name}_mm": getattr(self, f"{name}_mm") for name in PARTS}
        return {**values, "total_mm": self.total_mm, "limits": self.limits}


def budget_at(
    rig: Rig, place: Affine, seen_mm, hole_mm, height_mm: float, *,
    registration_mm: float | None, height_sigma_mm: float = HEIGHT_SIGMA_MM,
) -> Budget:  # fmt: skip
    """The budget of one hole that is to come under the spindle.

    place: design mm -> bench mm on the upper face, by points seen_mm (M, 2, design mm)
    hole_mm: (2,) design mm; height_mm: of the upper face; registration_mm: the hole's own
    """
    doubt = RigDoubt.of(rig)
    shared = doubt.under_spindle_mm2(rig, place, seen_mm, [hole_mm], height_mm)
    parts = {
        cause: math.sqrt(float(value[0])) if cause in doubt.known else None
        for cause, value in shared.items()
    }
    return Budget(
        registration_mm,
        parts["lens"],
        parts["bench"],
        height_part_mm(rig, height_mm, height_sigma_mm),
        spindle_part_mm(rig, height_mm),
    )


def budget_within(
    rig: Rig, place: Affine, seen_mm, hole_mm, height_mm: float, total_mm: float
) -> Budget:
    """The budget of a hole whose expected error, all counted in, is total_mm.

    What the rig file does not account for is the registration's.
    """
    parts = budget_at(rig, place, seen_mm, hole_mm, height_mm, registration_mm=None)
    own = math.sqrt(max(total_mm**2 - parts.rig_mm**2, 0.0))
    return replace(parts, registration_mm=own)


def spindle_error_mm(rig: Rig, height_mm: float) -> float:
    """What a session counts beside the board's place: axis and thickness.

    0 for a rig file that says nothing of the spindle's error.
    """
    axis = spindle_part_mm(rig, height_mm)
    if axis is None:
        return 0.0
    return math.hypot(axis, height_part_mm(rig, height_mm, HEIGHT_SIGMA_MM))


def height_part_mm(rig: Rig, height_mm: float, height_sigma_mm: float) -> float:
    """A board dh higher than told is seen dh r / Z farther out at the spindle, which leans too."""
    spindle = rig.spindle_mm(height_mm)
    if spindle is None:
        return 0.0
    x, y, z = rig.camera_mm
    slope = (spindle - [x, y]) / (z - height_mm)
    return float(height_sigma_mm * np.hypot(*(slope + rig.lean)))


def spindle_part_mm(rig: Rig, height_mm: float) -> float | None:
    """One sigma of the distance of the axis at that height, by [spindle]; None: it does not say."""
    section = rig.extra.get("spindle", {})
    covariance = covariance_of(section, "spindle.covariance", 2)
    if covariance is not None:
        row = np.array([1.0, height_mm])
        return math.sqrt(2 * float(row @ covariance @ row))
    sigma = section.get("sigma_mm")
    known = isinstance(sigma, int | float) and not isinstance(sigma, bool) and 0 <= sigma < 1000
    return float(sigma) if known else None
