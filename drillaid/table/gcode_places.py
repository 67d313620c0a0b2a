"""Where a file of moves has to go: the holes of a board in table mm, without a camera to correct.

ORIGINS says what X0 Y0 of the file is. A board whose hole lies at b (bench mm, on its
upper face) while the table stands at t comes to lie under the spindle at
t + M^-1 (spindle - b), M as in `TableSetup.matrix`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from drillaid.errors import CannotPlace, RigError
from drillaid.geometry import Affine
from drillaid.guidance.work import Work
from drillaid.registration.result import Placement
from drillaid.rig.budget import spindle_error_mm
from drillaid.rig.doubt import RigDoubt
from drillaid.rig.rig import Rig
from drillaid.table.aiming import LEAST_APPROACH_MM, MATRIX_SIGMA, PAST_BACKLASH
from drillaid.table.setup import TableSetup

TABLE, PHOTO, BENCH = "table", "photo", "bench"
ORIGINS = {
    TABLE: "the table's own, as after homing",
    PHOTO: "where the table stood when the photograph was taken",
    BENCH: "the bench frame's, for a spindle that moves along its axes",
}
# A bench that nothing is known of, and ways of which nobody measured how they repeat.
REPEAT_SIGMA_MM = 0.02  # common practice, no source: a home-made table, each axis


@dataclass(frozen=True, eq=False)
class Places:
    """xy_mm: (M, 2), of the file, aligned with the work's stops; expected_error_mm: (M,), one
    sigma of the distance between bit and hole; approach_mm: (2,), each place is come to from
    so much less, so that backlash is taken up; park_mm: (2,) where the file begins and ends,
    or None: where it happens to stand
    """

    origin: str
    xy_mm: np.ndarray
    expected_error_mm: np.ndarray
    approach_mm: np.ndarray
    park_mm: np.ndarray | None


def to_table(
    placement: Placement, rig: Rig, setup: TableSetup, thickness_mm: float, stood_mm, *,
    rig_file: str | None = None,
) -> Affine:  # fmt: skip
    """Design mm -> table mm, where each point comes to lie under the spindle. RigError without
    a spindle, OutOfReach for a stood_mm (2,), table, where no table can have stood."""
    spindle = rig.spindle_mm(thickness_mm)
    if spindle is None:
        raise RigError("[spindle] is missing, so nobody knows where the bit goes down",
                       file=rig_file, remedy="run drillaid calibrate spindle")  # fmt: skip
    setup.check(*stood_mm, None)
    back, board = np.linalg.inv(setup.matrix), placement.matrix
    offset = np.asarray(stood_mm) + back @ (spindle - board.offset)
    return Affine(np.column_stack([-back @ board.linear, offset]))


def on_table(
    work: Work, placement: Placement, rig: Rig, setup: TableSetup, thickness_mm: float, *,
    stood_mm: np.ndarray, origin: str = TABLE,
) -> Places:  # fmt: skip
    """For origin TABLE or PHOTO. stood_mm: (2,), table, where it stood for the photograph.

    Raises as `to_table`, and CannotPlace for holes beyond the soft limits.
    """
    ways = to_table(placement, rig, setup, thickness_mm, stood_mm)(work.xy_mm) - stood_mm
    approach = np.where(
        setup.backlash_mm > 0, PAST_BACKLASH * setup.backlash_mm + LEAST_APPROACH_MM, 0.0
    )
    _check_reach(work, stood_mm + ways, approach, setup)
    variance = _seen_variance(work, placement, rig, thickness_mm, under_spindle=True)
    variance += spindle_error_mm(rig, thickness_mm) ** 2
    variance += _table_variance(rig, ways)
    zero = np.zeros(2) if origin == TABLE else stood_mm
    return Places(
        origin, stood_mm + ways - zero, np.sqrt(variance), approach, np.asarray(stood_mm) - zero
    )


def on_bench(work: Work, placement: Placement, rig: Rig, thickness_mm: float) -> Places:
    """For origin BENCH: the holes where they lie."""
    variance = _seen_variance(work, placement, rig, thickness_mm, under_spindle=False)
    variance += 2 * REPEAT_SIGMA_MM**2
    return Places(
        BENCH, placement.matrix(work.xy_mm), np.sqrt(variance), np.zeros(2), None
    )  # fmt: skip


def vouch(work: Work, places: Places, vouch_mm: float) -> None:
    """CannotPlace where twice the expected error of a hole is above vouch_mm: no camera will
    correct it."""
    worst = int(np.argmax(places.expected_error_mm))
    error = float(places.expected_error_mm[worst])
    if not 2 * error <= vouch_mm:
        raise CannotPlace(
            f"The place of hole {work.stops[worst].hole} is known to {error:.2f} mm only (one "
            "sigma), and nothing corrects a file on its way: run drillaid calibrate table, show "
            "more of the board, or let drillaid table drill look at each hole."
        )


def _check_reach(work: Work, xy: np.ndarray, approach: np.ndarray, setup: TableSetup) -> None:
    low, high = setup.limits_mm[:2].T
    out = ((xy - approach < low) | (xy > high)).any(axis=1)
    if out.any():
        numbers = sorted(
            {stop.hole for stop, beyond in zip(work.stops, out, strict=True) if beyond}
        )
        some = ", ".join(map(str, numbers[:6])) + (" …" if len(numbers) > 6 else "")
        raise CannotPlace(
            f"{len(numbers)} of {len(work.by_hole)} holes lie beyond the table's soft limits "
            f"(hole {some}); clamp the board elsewhere or turned, and take another photograph."
        )


def _seen_variance(
    work: Work, placement: Placement, rig: Rig, thickness_mm: float, *, under_spindle: bool
) -> np.ndarray:
    """(M,), mm^2: of the registration and, as far as the rig file says, of the rig."""
    rows = [stop.hole - 1 for stop in work.stops]
    variance = np.square(np.asarray(placement.expected_error_mm, dtype=np.float64)[rows])
    doubt = RigDoubt.of(rig)
    if not doubt.known:
        return variance
    if not under_spindle:
        at = placement.matrix(work.xy_mm)
        return variance + doubt.sigma_mm(rig, at, thickness_mm) ** 2
    seen = placement.matrix.inverse(placement.bench_mm[placement.pad_seen])
    if len(seen) < 4:
        seen = work.xy_mm
    parts = doubt.under_spindle_mm2(rig, placement.matrix, seen, work.xy_mm, thickness_mm)
    return variance + sum(parts.values())


def _table_variance(rig: Rig, ways: np.ndarray) -> np.ndarray:
    """(M,), mm^2: what the table adds on its way, by what [table] says of itself.

    Each entry of the matrix is known to matrix_sigma, so a way of w mm ends
    sqrt(2) matrix_sigma w off; repeatability_mm is four standard deviations (ISO 230-2,
    as remembered, not looked up). What is lost at one stop stays lost (lost_mm_per_stop).
    """
    table = rig.extra["table"]
    sigma = float(table.get("matrix_sigma", MATRIX_SIGMA))
    repeat = np.array(table.get("repeatability_mm", [4 * REPEAT_SIGMA_MM] * 2), dtype=float) / 4
    back = np.array(table.get("backlash_sigma_mm", (0.0, 0.0)), dtype=float)
    fixed = float((repeat**2).sum() + (back**2).sum())
    lost = float(table.get("lost_mm_per_stop", 0.0)) ** 2 * np.arange(1, len(ways) + 1)
    return 2 * sigma**2 * (ways**2).sum(axis=1) + fixed + lost


def worst_mm(places: Places) -> float:
    """The largest expected error."""
    return math.nan if not len(places.xy_mm) else float(places.expected_error_mm.max())
