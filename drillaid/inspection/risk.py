"""Before drilling: which parts are at risk on this artwork, by its print and the hand's scatter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from drillaid.design.bits import DEFAULT_BITS_MM, UNPLATED_RING_MM, assign_bits, checked_bits
from drillaid.design.model import Design
from drillaid.design.parts import find_parts
from drillaid.design.ring import ring_left
from drillaid.inspection.chance import chance_of_fit
from drillaid.inspection.fit import Pin, fit_part
from drillaid.inspection.result import percent
from drillaid.inspection.summary import SEED, along_rad, rows_of, usual_pin
from drillaid.registration.result import Placement

# One sigma of the distance from where a hole was meant: the hand, the bit and the clamp
# together (common practice, no source). What boards drilled here say is better
# (`learning.Offset.scatter_mm`), or what the holes in scrap said (`usual_scatter_mm`).
SCATTER_MM = 0.08
BIT_SIGMA_MM = 0.02  # a hole against its bit, common practice, no source
ENOUGH = 0.95  # a part that goes in less probably is at risk
DRAWS = 200


@dataclass(frozen=True)
class PartRisk:
    """play_mm: if every hole were drilled exactly where its land is, with the bit planned
    probability: that the part goes in, with the scatter told
    bit_mm, then: the smallest bit for all its holes that makes it at least ENOUGH and leaves
      copper enough, and the probability then; None where none does
    """

    part: str
    holes: tuple[int, ...]
    pin: Pin
    play_mm: float
    probability: float
    bit_mm: float | None = None
    then: float | None = None

    @property
    def at_risk(self) -> bool:
        return self.probability < ENOUGH

    @property
    def sentence(self) -> str:
        where = f"{self.part} (holes {self.holes[0]} … {self.holes[-1]}, {self.pin.name})"
        if self.play_mm < 0:
            words = f"{where} misses by {-self.play_mm:.2f} mm even if it is drilled exactly"
        else:
            words = f"{where} goes in with a probability of {percent(self.probability)}"
        if not self.at_risk:
            return words
        if self.bit_mm is None:
            return words + "; no wider bit at hand helps and leaves copper enough"
        return words + f"; with a {self.bit_mm:g} mm bit, {percent(self.then)}"

    def to_json(self) -> dict:
        return {
            "part": self.part,
            "holes": list(self.holes),
            "pin": self.pin.name,
            "play_mm": self.play_mm,
            "probability": self.probability,
            "bit_mm": self.bit_mm,
            "probability_then": self.then,
            "message": self.sentence,
        }


def usual_scatter_mm(rig) -> float:
    """What [spindle] wander_mm says of one hole's scatter along an axis, at least SCATTER_MM."""
    wander = rig.extra.get("spindle", {}).get("wander_mm")
    if isinstance(wander, int | float) and not isinstance(wander, bool) and 0 < wander < 1:
        return max(SCATTER_MM, float(wander) * 2**0.5)
    return SCATTER_MM


def risk_before_drilling(
    design: Design,
    placement: Placement,
    scatter_mm: float,
    bits: Sequence[float] | None = None,
    *,
    pins: dict[tuple[int, ...], Pin] | None = None,
    parts: Sequence | None = None,
) -> tuple[PartRisk, ...]:
    """All parts of the design with what threatens them, the least probable first.

    scatter_mm: one sigma of the distance between a hole and where it was aimed; the
      placement's own expected error is added to it
    bits: at hand; None: the common sizes. pins: by a part's holes, where they are known
    () where no rig tells the true size of the print.
    """
    if placement.matrix is None or not placement.on_bench:
        return ()
    at_hand = checked_bits(DEFAULT_BITS_MM if bits is None else bits)
    planned = np.array([choice.bit_mm for choice in assign_bits(design, at_hand)])
    flip = np.array([-1.0 if placement.matrix.mirrored else 1.0, 1.0])
    places = placement.matrix(design.xy_mm) * flip
    errors = np.hypot(scatter_mm, placement.expected_error_mm)
    rng = np.random.default_rng(SEED)
    risks = []
    for part in find_parts(design) if parts is None else parts:
        rows = rows_of(part, design)
        pin = (pins or {}).get(part.holes) or usual_pin(part, design)
        one = _Part(places[rows], design.xy_mm[rows], pin, along_rad(part, design), errors[rows])
        chance = one.chance(planned[rows], rng)
        bit, then = None, None
        if chance < ENOUGH:
            bit, then = _better_bit(one, design, rows, planned[rows], at_hand, rng)
        play = one.play_mm(planned[rows])
        risks.append(PartRisk(part.name, part.holes, pin, play, chance, bit, then))
    return tuple(sorted(risks, key=lambda risk: (risk.probability, risk.holes)))


def risk_sentence(risks: Sequence[PartRisk], scatter_mm: float, *, named: int = 3) -> str | None:
    """A heading and a line for each of the worst; None where no part is at risk."""
    bad = [risk for risk in risks if risk.at_risk]
    if not bad:
        return None
    lines = [f"Parts at risk on this artwork, if holes scatter by {scatter_mm:.2f} mm:"]
    lines += [f"  {risk.sentence}" for risk in bad[:named]]
    if len(bad) > named:
        lines.append(f"  and {len(bad) - named} more")
    return "\n".join(lines)


@dataclass(frozen=True, eq=False)
class _Part:
    places: np.ndarray
    nominal: np.ndarray
    pin: Pin
    along: float
    errors: np.ndarray

    def play_mm(self, bits) -> float:
        return fit_part(self.places, bits, self.nominal, self.pin, along_rad=self.along).play_mm

    def chance(self, bits, rng) -> float:
        return chance_of_fit(
            self.places, bits, self.nominal, self.pin, along_rad=self.along,
            centre_error_mm=self.errors, diameter_error_mm=np.full(len(bits), BIT_SIGMA_MM),
            rng=rng, draws=DRAWS,
        )  # fmt: skip


def _better_bit(one: _Part, design: Design, rows, planned, at_hand, rng):
    """(the smallest bit for all of the part's holes that helps, the probability then)"""
    for bit in at_hand:
        if bit <= planned.max() + 1e-9:
            continue
        if any(not _leaves_copper(design, i, bit) for i in rows):
            break
        bits = np.full(len(rows), bit)
        if one.play_mm(bits) < 0:
            continue
        chance = one.chance(bits, rng)
        if chance >= ENOUGH:
            return bit, chance
    return None, None


def _leaves_copper(design: Design, i: int, bit_mm: float) -> bool:
    land, hole = design.lands[i], design.holes[i]
    if land is None:
        return bit_mm <= hole.drill_mm + 0.3  # nobody knows; further no one should go
    if land.in_pour:
        return True
    return ring_left(land, hole.xy_mm, bit_mm) >= UNPLATED_RING_MM - 1e-6
