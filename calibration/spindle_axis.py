"""Where the spindle axis meets the bench, from holes drilled in scrap held still.

Each hole's rim lies on the scrap's upper face, so a picture of it gives one point of
the axis at that height. Holes scatter, because bits wander; the mean is the axis and
the scatter over the root of their number its error. Holes in scrap of two thicknesses
give the lean, by a straight line through both; with one thickness it is taken as 0,
and what it may be (`LEAN_SIGMA`) counts at other thicknesses.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drillaid.rig.rig import Rig

LEAN_SIGMA = 0.006  # mm per mm, of a drill press nobody has measured (common practice, no source)
WANDER_MM = 0.03  # scatter expected of one hole along an axis, until several tell (likewise)
TRUST = 4  # holes that this expectation counts as
THICKNESS_MM = (0.1, 30.0)
APART_MM = 0.8  # thicknesses so far apart give a lean
STRAY = 3.5  # scatters from the others
STRAY_MM = 0.08
WORST_WANDER_MM = 0.25  # no bit wanders so far: something was moved
FEW = 3
ENOUGH_MM = 0.0115  # one sigma: within 0.02 mm in 95 % (Rayleigh: 0.02 / sqrt(-ln 0.05))
THICKNESS_SIGMA_MM = 0.03  # callipers on sawn scrap


@dataclass(frozen=True, eq=False)
class HoleSeen:
    """One hole: at_mm (2,) bench mm on the face, sigma_mm of each coordinate by the picture

    thickness_mm: of the scrap; name: of the photograph; used, reason: whether it counted
    """

    name: str
    thickness_mm: float
    at_mm: np.ndarray
    sigma_mm: float
    used: bool = True
    reason: str = ""

    def to_data(self) -> dict:
        return {
            "file": self.name,
            "thickness_mm": self.thickness_mm,
            "at_mm": [round(float(v), 4) for v in self.at_mm],
            "sigma_mm": round(self.sigma_mm, 4),
            "used": self.used,
            "reason": self.reason,
        }


@dataclass(frozen=True, eq=False)
class SpindleAxis:
    """axis_mm (2,) at z = 0, lean (2,) mm per mm; both may be the origin's, see `measured`

    covariance: (2, 2) of (axis, lean) along either axis; measured_mm: mean height
    wander_mm: scatter of one hole along an axis; sigma_mm: one sigma of the distance at
    measured_mm; lean_known: whether two thicknesses gave it
    """

    axis_mm: np.ndarray
    lean: np.ndarray
    covariance: np.ndarray
    measured_mm: float
    wander_mm: float
    rms_mm: float
    lean_known: bool
    holes: tuple[HoleSeen, ...]
    floor_mm: float = 0.0  # of sigma_mm: what the scrap's thickness leaves, and no hole removes

    def sigma_at_mm(self, height_mm: float) -> float:
        """One sigma of the distance of the axis at that height from where it is."""
        row = np.array([1.0, height_mm])
        return math.sqrt(2 * float(row @ self.covariance @ row))

    @property
    def sigma_mm(self) -> float:
        return self.sigma_at_mm(self.measured_mm)

    @property
    def more(self) -> int:
        """How many more holes like these would make it known to ENOUGH_MM, at the height where
        most of them are; 0 where no number would."""
        room = ENOUGH_MM**2 - self.floor_mm**2
        if self.sigma_mm <= ENOUGH_MM or room < (ENOUGH_MM / 3) ** 2:
            return 0
        return max(math.ceil(2 * self.wander_mm**2 / room) - len(self.used), 1)

    @property
    def used(self) -> tuple[HoleSeen, ...]:
        return tuple(hole for hole in self.holes if hole.used)


def fit_spindle(holes: Sequence[HoleSeen], rig: Rig | None = None) -> SpindleAxis | str:
    """rig: says what a wrong thickness does to a hole's place; or why there is no answer."""
    if not holes:
        return "no hole was seen"
    holes = _without_strays(list(holes))
    used = [hole for hole in holes if hole.used]
    if len(used) < len(holes) / 2 + 0.5 and len(holes) > 1:
        return (
            "the holes lie in several places: was the scrap clamped, the bit lifted and the camera "
            "left alone while all pictures were taken? Drill and photograph again"
        )
    heights = np.array([hole.thickness_mm for hole in used])
    at = np.array([hole.at_mm for hole in used])
    lean_known = bool(np.ptp(heights) >= APART_MM)
    columns = np.column_stack([np.ones(len(used)), heights])
    wander = _wander(at, heights, lean_known)
    if wander > WORST_WANDER_MM:
        return (
            f"the holes scatter by {wander:.2f} mm, more than a bit can wander: was the scrap "
            "clamped and the camera left alone while all pictures were taken? Drill again"
        )
    weight = 1 / (wander**2 + np.array([hole.sigma_mm for hole in used]) ** 2)
    normal = (columns.T * weight) @ columns
    normal[1, 1] += 1 / LEAN_SIGMA**2 if not lean_known else 0.0
    covariance = np.linalg.inv(normal)
    axis, lean = (covariance @ ((columns.T * weight) @ at)).reshape(2, 2)
    off = at - axis - np.outer(heights, lean)
    if not lean_known:  # the prior draws towards 0; say 0 plainly
        lean = np.zeros(2)
        axis = (weight[:, None] * at).sum(axis=0) / weight.sum()
        off = at - axis
    mean = float((weight * heights).sum() / weight.sum())
    of_thickness = _of_thickness(rig, axis, lean, heights, lean_known)
    covariance = covariance + of_thickness
    row = np.array([1.0, mean])
    floor = math.sqrt(2 * float(row @ of_thickness @ row))
    rms = float(np.sqrt((off**2).sum(axis=1).mean()))
    return SpindleAxis(axis, lean, covariance, mean, wander, rms, lean_known, tuple(holes), floor)


def _wander(at: np.ndarray, heights: np.ndarray, lean_known: bool) -> float:
    """Scatter of one hole along an axis: what is seen, drawn towards what is usual while few."""
    groups = [np.isclose(heights, h, atol=APART_MM / 4) for h in np.unique(heights.round(2))]
    if not lean_known:
        groups = [np.ones(len(at), bool)]
    square, free = 0.0, 0
    for group in groups:
        if group.sum() > 1:
            square += float(((at[group] - at[group].mean(axis=0)) ** 2).sum())
            free += 2 * (int(group.sum()) - 1)
    return math.sqrt((square + TRUST * WANDER_MM**2) / (free + TRUST))


def _of_thickness(rig, axis, lean, heights, lean_known: bool) -> np.ndarray:
    """(2, 2): the scrap's thickness was read wrong, once for each thickness."""
    if rig is None:
        return np.zeros((2, 2))
    x, y, z = rig.camera_mm
    slope = np.hypot(*(axis - [x, y])) / z / math.sqrt(2)  # along either axis
    moved = THICKNESS_SIGMA_MM * slope
    if not lean_known:
        return np.diag([moved**2, 0.0])
    kinds = np.unique(heights.round(2))
    columns = np.column_stack([np.ones(len(kinds)), kinds])
    return moved**2 * np.linalg.inv(columns.T @ columns)


def _without_strays(holes: list[HoleSeen]) -> list[HoleSeen]:
    """Holes far from the middle of those of the same thickness do not count."""
    from dataclasses import replace

    out = list(holes)
    for height in {round(hole.thickness_mm, 2) for hole in holes}:
        rows = [k for k, hole in enumerate(holes) if round(hole.thickness_mm, 2) == height]
        if len(rows) < FEW:
            continue
        at = np.array([holes[k].at_mm for k in rows])
        away = np.hypot(*(at - np.median(at, axis=0)).T)
        # Median distance of a round normal scatter: 1.177 sigma.
        usual = max(np.median(away) / 1.177, WANDER_MM / 2)
        for k, far in zip(rows, away, strict=True):
            if far > max(STRAY * usual, STRAY_MM):
                why = f"{far:.2f} mm from the others"
                out[k] = replace(holes[k], used=False, reason=why)
    return out
