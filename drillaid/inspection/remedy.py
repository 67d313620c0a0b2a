"""What to do where a part does not go in: which holes to open to which bit, or who is to blame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drillaid.design.bits import DEFAULT_BITS_MM, UNPLATED_RING_MM, checked_bits, runs_of
from drillaid.design.model import Design
from drillaid.design.ring import ring_left
from drillaid.inspection.believed import Believed
from drillaid.inspection.fit import Pin, fit_part
from drillaid.inspection.opening import Holes, fewest_openings
from drillaid.inspection.result import HoleFinding

TAKES_MM = 0.03  # a bit no wider than this over the hole takes nothing
LEAST_RING_MM = 0.05  # a ring narrower than that comes off with the bit; common practice, no source
SHARE_OF_PITCH = 0.6  # widest hole where no land is known: some board must stay in between
# Common practice, no source.
CAUTION = "Clamp the board before you open a hole: a wider bit catches in the hole that is there."


@dataclass(frozen=True)
class Opening:
    """ring_mm: narrowest copper left then; None where no land is known or the hole is in a pour"""

    hole: int
    bit_mm: float
    ring_mm: float | None

    @property
    def thin(self) -> bool:
        """Less copper than an unplated hole needs (`drillaid.design.bits`)."""
        return self.ring_mm is not None and self.ring_mm < UNPLATED_RING_MM - 1e-6


@dataclass(frozen=True)
class Remedy:
    """openings: what to open, () where nothing helps; play_mm: the part's play then

    sure: that play is beyond the measuring errors
    blame: the hole that keeps the part out most; blame_off_mm: how far it is off
    alone: without that hole's fault the part would go in
    smallest: no remedy opens fewer holes, nor as few less wide
    """

    openings: tuple[Opening, ...]
    play_mm: float
    sure: bool
    blame: int
    blame_off_mm: float | None
    alone: bool
    smallest: bool = True

    @property
    def saves(self) -> bool:
        return bool(self.openings)

    @property
    def sentence(self) -> str:
        if not self.saves:
            return self._past_saving()
        words = (
            f"open {_listed(self.openings)}; then it goes in with {self.play_mm:.2f} mm to spare"
        )
        if not self.sure:
            words += ", which is no more than the measuring errors: try it"
        thin = [o for o in self.openings if o.thin]
        if thin:
            narrowest = min(thin, key=lambda o: o.ring_mm)
            words += (
                f"; {narrowest.ring_mm:.2f} mm of copper is left at hole {narrowest.hole}, "
                f"under {UNPLATED_RING_MM:.3f} mm: solder it with care"
            )
        return words

    def _past_saving(self) -> str:
        off = "" if self.blame_off_mm is None else f", {self.blame_off_mm:.2f} mm off its place"
        words = f"past saving with these bits and lands: hole {self.blame} is to blame{off}"
        if not self.alone:
            words += ", and not alone"
        return words + f"; with all opened as far as the copper allows {-self.play_mm:.3f} mm lack"

    def to_json(self) -> dict:
        return {
            "open": [
                {"hole": o.hole, "bit_mm": o.bit_mm, "ring_mm": o.ring_mm} for o in self.openings
            ],
            "play_mm": self.play_mm,
            "blame": self.blame,
            "message": self.sentence,
        }


def _listed(openings: Sequence[Opening]) -> str:
    by_bit: dict[float, list[int]] = {}
    for opening in openings:
        by_bit.setdefault(opening.bit_mm, []).append(opening.hole)
    return " and ".join(
        f"hole{'s' * (len(holes) > 1)} {_numbers(holes)} to {bit:g} mm"
        for bit, holes in sorted(by_bit.items())
    )


def _numbers(holes: list[int]) -> str:
    runs = [
        f"{a}" if a == b else f"{a}, {b}" if b == a + 1 else f"{a}–{b}" for a, b in runs_of(holes)
    ]
    return ", ".join(runs)


def find_remedy(
    part,
    design: Design,
    findings: dict[int, HoleFinding],
    believed: dict[int, Believed],
    pin: Pin,
    *,
    along_rad: float | None,
    bits_mm: Sequence[float] | None = None,
    margin_mm: float = 0.0,
) -> Remedy:
    """The smallest remedy for a part whose holes are all drilled and that does not go in.

    Fewest holes opened, then least widened. An opened hole keeps its middle (a bit follows
    the hole that is there) and takes the bit's size; it may be opened as long as a ring of
    LEAST_RING_MM is left, and where no land is known, to 0.6 of the pitch.
    bits_mm: at hand; None: the common sizes
    margin_mm: the play to be reached, given up where it cannot be
    """
    index = {hole.number: i for i, hole in enumerate(design.holes)}
    rows = [index[n] for n in part.holes]
    held = [believed[n] for n in part.holes]
    bits = checked_bits(DEFAULT_BITS_MM if bits_mm is None else bits_mm)
    options = [
        tuple(
            bit
            for bit in bits
            if bit > b.diameter_mm + TAKES_MM and _allowed(design, i, findings[n], bit, part)
        )
        for n, i, b in zip(part.holes, rows, held, strict=True)
    ]
    holes = Holes(
        np.array([b.centre_mm for b in held]), np.array([b.diameter_mm for b in held]),
        design.xy_mm[rows], pin, along_rad, options,
    )  # fmt: skip
    sure = True
    choice = fewest_openings(holes, margin_mm)
    if choice is None and margin_mm > 0:
        sure, choice = False, fewest_openings(holes)
    blame, alone = _blame(holes)
    fault = findings[part.holes[blame]]
    diameters = holes.widest() if choice is None else choice.diameters_mm
    if choice is None:
        openings: tuple[Opening, ...] = ()
    else:
        openings = tuple(
            Opening(n, float(d), _ring(design, i, findings[n], float(d)))
            for n, i, d, b in zip(part.holes, rows, diameters, held, strict=True)
            if d > b.diameter_mm + 1e-9
        )
    return Remedy(
        openings, holes.play_mm(diameters), sure, fault.hole, fault.distance_mm, alone,
        smallest=choice is not None and choice.smallest,
    )  # fmt: skip


def _ring(design: Design, i: int, finding: HoleFinding, bit_mm: float) -> float | None:
    land = design.lands[i]
    if land is None or land.in_pour or finding.off_mm is None:
        return None
    at = design.xy_mm[i] + finding.off_mm
    return ring_left(land, (float(at[0]), float(at[1])), bit_mm)


def _allowed(design: Design, i: int, finding: HoleFinding, bit_mm: float, part) -> bool:
    ring = _ring(design, i, finding, bit_mm)
    if ring is None:
        return bit_mm <= SHARE_OF_PITCH * part.pitch_mm
    return ring > LEAST_RING_MM


def _blame(holes: Holes) -> tuple[int, bool]:
    """(index of the hole without which the part goes in best, whether it then does)"""
    count = len(holes.diameters_mm)
    if count < 2:
        return 0, True
    plays = []
    for i in range(count):
        rest = np.arange(count) != i
        plays.append(
            fit_part(
                holes.centres_mm[rest], holes.diameters_mm[rest], holes.nominal_mm[rest],
                holes.pin, along_rad=holes.along_rad,
            ).play_mm
        )  # fmt: skip
    worst = int(np.argmax(plays))
    return worst, plays[worst] >= 0
