"""A board design as frozen values; frame: design mm (x right, y up, seen from the top)."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from drillaid.geometry import Affine


@dataclass(frozen=True)
class Hole:
    """One hole (or slot) as the design asks for it.

    number: from 1, in the order of the files, tool by tool as written
    plated: None where the design does not say
    slot_to_mm: the other end of a slot's centre line, or None
    file, line: where it stands
    component: the part it belongs to ("U3"), where a file says so
    """

    number: int
    x_mm: float
    y_mm: float
    drill_mm: float
    plated: bool | None = None
    slot_to_mm: tuple[float, float] | None = None
    file: str = ""
    line: int = 0
    component: str = ""

    @property
    def xy_mm(self) -> tuple[float, float]:
        return self.x_mm, self.y_mm


@dataclass(frozen=True)
class Land:
    """The copper round a hole: shape "round", "rectangle", "oblong", "octagon" or "other".

    size_mm: width and height of the shape in its own axes;
    rotation_rad: of those axes against the design's;
    centre_mm: in the design frame (may differ from the hole's).
    in_pour: the hole lies in filled copper with no clearance ring of its own.
    """

    shape: str
    size_mm: tuple[float, float]
    rotation_rad: float = 0.0
    centre_mm: tuple[float, float] = (0.0, 0.0)
    in_pour: bool = False


@dataclass(frozen=True, eq=False)
class Copper:
    """One face's copper as a picture.

    mask: uint8 (H, W), 255 copper, 0 bare, as seen in the design frame with
      row 0 at the TOP (largest y); not mirrored, whatever the face.
    to_design: picture px (column, row; (0, 0) the centre of the first) -> design mm.
    px_per_mm: of the mask.
    """

    face: str
    mask: np.ndarray
    to_design: Affine
    px_per_mm: float


@dataclass(frozen=True, eq=False)
class Outline:
    """The board's edge: closed rings of (M, 2) design mm, the largest first; others are cut-outs."""

    rings_mm: tuple[np.ndarray, ...]

    @cached_property
    def size_mm(self) -> tuple[float, float]:
        ring = self.rings_mm[0]
        width, height = np.ptp(ring, axis=0)
        return float(width), float(height)


@dataclass(frozen=True, eq=False)
class Design:
    """All that was read of one board.

    lands: aligned with holes for the face asked for; None where nothing is known
    copper: by face ("top", "bottom"), where a Gerber was given
    units: how the numbers were written, for a person ("metric, decimal points")
    """

    name: str
    holes: tuple[Hole, ...]
    lands: tuple[Land | None, ...] = ()
    copper: dict[str, Copper] = field(default_factory=dict)
    outline: Outline | None = None
    warnings: tuple[str, ...] = ()
    units: str = ""
    files: tuple[str, ...] = ()

    def __post_init__(self):
        if not self.lands:
            object.__setattr__(self, "lands", (None,) * len(self.holes))
        if len(self.lands) != len(self.holes):
            raise ValueError("one land (or None) for each hole")

    @cached_property
    def xy_mm(self) -> np.ndarray:
        """Hole centres (for a slot: the middle of its line), shape (N, 2)."""
        rows = [
            h.xy_mm
            if h.slot_to_mm is None
            else ((h.x_mm + h.slot_to_mm[0]) / 2, (h.y_mm + h.slot_to_mm[1]) / 2)
            for h in self.holes
        ]
        array = np.array(rows, dtype=np.float64).reshape(-1, 2)
        array.setflags(write=False)
        return array

    @cached_property
    def drill_mm(self) -> np.ndarray:
        """Drill diameters, shape (N,)."""
        array = np.array([h.drill_mm for h in self.holes], dtype=np.float64)
        array.setflags(write=False)
        return array
