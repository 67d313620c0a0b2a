"""The answer to "where does the board lie?": a position, or a reason for none."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from drillaid.geometry import Affine, Homography

REGISTERED, AMBIGUOUS, MIRRORED, NOT_FOUND = "registered", "ambiguous", "mirrored", "not_found"

# Why there is no position: the likeliest cause, as far as the picture tells.
DARK, BURNT_OUT, BLURRED, SHAKEN = "dark", "burnt_out", "blurred", "shaken"
EMPTY, BARE_SIDE, OTHER_BOARD, UNDER_WATER = "empty", "bare_side", "other_board", "under_water"
STRETCHED, PART_HIDDEN, TOO_LITTLE = "stretched", "part_hidden", "too_little_in_view"
NOT_SURE, FITS_TWICE, WRONG_WAY = "not_sure", "fits_twice", "wrong_way_round"
REASONS = (
    DARK, BURNT_OUT, BLURRED, SHAKEN, EMPTY, BARE_SIDE, OTHER_BOARD, UNDER_WATER,
    STRETCHED, PART_HIDDEN, TOO_LITTLE, NOT_SURE, FITS_TWICE, WRONG_WAY,
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Placement:
    """Where the design lies in the picture and, with a rig, on the bench.

    homography: design mm -> undistorted pixel when a rig is known (the lens
      terms of the rig come on top), else design mm -> pixel as photographed
    matrix: design mm -> bench mm on the board's upper face; None without a rig
    pixels: (N, 2) where each hole's centre is in the photograph, lens included
    bench_mm: (N, 2) or None
    expected_error_mm: (N,), one sigma of the distance between stated and true place
    pad_seen: (N,) bool
    land_missing: (N,) bool, in view and uncovered as far as is known, and yet not to be seen;
      empty where nobody looked
    on_bench: False where the mm of matrix and bench_mm are those of a makeshift rig
      (`registration.makeshift`): about the spindle axis, and no bench's
    """

    model: str
    homography: Homography
    matrix: Affine | None
    pixels: np.ndarray
    bench_mm: np.ndarray | None
    expected_error_mm: np.ndarray
    pad_seen: np.ndarray
    residual_rms_mm: float
    px_per_mm: float
    on_bench: bool = True
    land_missing: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=bool))

    @property
    def holes_without_land(self) -> tuple[int, ...]:
        """Numbers, from 1, of the holes at which no land was seen, though one should be."""
        return tuple((np.flatnonzero(self.land_missing) + 1).tolist())


@dataclass(frozen=True, eq=False)
class Registration:
    """status is REGISTERED, AMBIGUOUS, MIRRORED or NOT_FOUND; placement only for REGISTERED.

    message: one sentence for a person, with advice where it is a refusal
    seconds: {"find", "match", "fit", "total"}
    reason: one of REASONS where it is a refusal and the cause was looked for, else ""
    """

    status: str
    message: str
    placement: Placement | None = None
    pads_seen: int = 0
    pads_agreeing: int = 0
    holes_total: int = 0
    seconds: dict[str, float] = field(default_factory=dict)
    reason: str = ""

    def __post_init__(self):
        if (self.status == REGISTERED) != (self.placement is not None):
            raise ValueError("a placement goes with 'registered' and with nothing else")

    @property
    def ok(self) -> bool:
        return self.status == REGISTERED
