"""The bits at hand instead of every diameter a design asks for, and what that costs."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from drillaid.design.model import Design, Hole, Land
from drillaid.design.ring import ring_left
from drillaid.errors import UsageError

# Common practice, no source: sizes sold singly for circuit boards; 1.0 mm is what
# sockets and pin headers get.
DEFAULT_BITS_MM = (0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3, 1.5, 1.8, 2.0, 2.5, 3.0, 3.2, 3.5)
SMALLEST_BIT_MM, LARGEST_BIT_MM = 0.1, 13.0

# A lead that fits the hole asked for still goes into one this much smaller: designs
# allow 0.15 to 0.25 mm over the lead (form of IPC-2222, quoted second hand).
UNDERSIZE_MM = 0.05
FAR_OFF_MM = 0.15

UNPLATED_RING_MM = 0.150
UNPLATED_RING_SOURCE = "IPC-2221/IPC-6012 for holes without plating, as remembered, not looked up"
PLATED_RING_MM = 0.050
PLATED_RING_SOURCE = "IPC-6012E class 3 as quoted by a board maker"


@dataclass(frozen=True)
class BitChoice:
    """The bit for one hole.

    off_mm: bit minus what the design asks for
    ring_mm: narrowest copper left with that bit, drilled exactly at the design's
      place; None where no land is known. Below zero the hole breaks out of the land.
    asked_ring_mm: the same with the diameter the design asks for
    """

    hole: int
    bit_mm: float
    off_mm: float
    ring_mm: float | None
    asked_ring_mm: float | None


def assign_bits(
    design: Design, bits_mm: Iterable[float] = DEFAULT_BITS_MM
) -> tuple[BitChoice, ...]:
    """The bit for each hole, aligned with `design.holes`.

    The nearest bit among those no more than 0.05 mm smaller than asked, of two
    equally near the larger: a hole too tight costs the part, one slightly wide
    costs some solder. Only where it would leave less copper than an unplated hole
    needs, the smallest bit that is still no more than 0.05 mm under. Where every
    bit is smaller, the largest. Raises UsageError for an empty list or a size no
    bench drill takes.
    """
    bits = checked_bits(bits_mm)
    return tuple(
        _choice(hole, land, bits) for hole, land in zip(design.holes, design.lands, strict=True)
    )


def _choice(hole: Hole, land: Land | None, bits: Sequence[float]) -> BitChoice:
    def ring(diameter: float) -> float | None:
        return None if land is None else ring_left(land, hole.xy_mm, diameter, hole.slot_to_mm)

    bit = nearest_bit(hole.drill_mm, bits)
    least = hole.drill_mm - UNDERSIZE_MM - 1e-9
    if land is not None and not land.in_pour and ring(bit) < UNPLATED_RING_MM - 1e-6:
        bit = min((b for b in bits if b >= least), default=bit)
    off = round(bit - hole.drill_mm, 6)
    return BitChoice(hole.number, bit, off, ring(bit), ring(hole.drill_mm))


def checked_bits(bits_mm: Iterable[float]) -> tuple[float, ...]:
    """Sorted without doubles; UsageError names the size that cannot be."""
    bits = sorted({float(bit) for bit in bits_mm})
    if not bits:
        raise UsageError("no bits are given", remedy="name at least one, such as --bits 0.8,1.0")
    for bit in bits:
        if not SMALLEST_BIT_MM <= bit <= LARGEST_BIT_MM:
            raise UsageError(
                f"there is no {bit:g} mm bit",
                remedy=f"give sizes from {SMALLEST_BIT_MM:g} to {LARGEST_BIT_MM:g} mm",
            )
    return tuple(bits)


def nearest_bit(drill_mm: float, bits_mm: Sequence[float]) -> float:
    """bits_mm sorted; see `assign_bits` for the rule."""
    fitting = [bit for bit in bits_mm if bit >= drill_mm - UNDERSIZE_MM - 1e-9]
    if not fitting:
        return bits_mm[-1]
    return min(fitting, key=lambda bit: (round(abs(bit - drill_mm), 6), -bit))


def bit_warnings(
    design: Design, choices: Sequence[BitChoice], *, workshop_plates: bool = False
) -> tuple[str, ...]:
    """What the operator should know before drilling, alike holes in one sentence.

    A board etched at home has no plating, whatever the file says: "plated" there
    means the designer counted on a copper sleeve. So every hole is held against
    the limit for unplated holes unless the workshop plates its holes.
    """
    notes: dict[str, list[int]] = {}

    def note(text: str, hole: int) -> None:
        notes.setdefault(text, []).append(hole)

    for hole, land, choice in zip(design.holes, design.lands, choices, strict=True):
        if abs(choice.off_mm) > FAR_OFF_MM:
            way = "larger" if choice.off_mm > 0 else "smaller"
            note(
                f"{hole.drill_mm:g} mm is asked for and the nearest bit, {choice.bit_mm:g} mm, "
                f"is {abs(choice.off_mm):.2f} mm {way}", choice.hole,
            )  # fmt: skip
        if land is None or land.in_pour or choice.ring_mm is None:
            continue
        mechanical = hole.plated is False and choice.asked_ring_mm < 0.02
        if not mechanical and (text := _ring_note(hole, choice, workshop_plates)):
            note(text, choice.hole)
    return tuple(f"{_holes(numbers)}: {text}" for text, numbers in notes.items())


def _ring_note(hole, choice: BitChoice, workshop_plates: bool) -> str | None:
    limit, source = UNPLATED_RING_MM, UNPLATED_RING_SOURCE
    if workshop_plates and hole.plated:
        limit, source = PLATED_RING_MM, PLATED_RING_SOURCE
    if choice.ring_mm >= limit - 1e-6:
        return None
    if choice.ring_mm <= 0:
        return f"a {choice.bit_mm:g} mm bit breaks out of the land; no closed ring is left"
    text = (
        f"a {choice.bit_mm:g} mm bit leaves {choice.ring_mm:.2f} mm of copper, "
        f"under {limit:.3f} mm ({source})"
    )
    if choice.asked_ring_mm is not None and choice.asked_ring_mm < limit - 1e-6:
        text += f"; the {hole.drill_mm:g} mm asked for would too ({choice.asked_ring_mm:.2f} mm)"
    return text


def runs_of(numbers: Iterable[int]) -> list[tuple[int, int]]:
    """First and last of each unbroken run of hole numbers, sorted."""
    runs: list[tuple[int, int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][1] + 1:
            runs[-1] = (runs[-1][0], number)
        else:
            runs.append((number, number))
    return runs


def _holes(numbers: list[int]) -> str:
    """ "hole 3" or "holes 1, 3–7 and 9"."""
    runs = runs_of(numbers)
    words = [
        f"{a}" if a == b else f"{a}, {b}" if b == a + 1 else f"{a}–{b}" for a, b in runs
    ]  # fmt: skip
    if len(numbers) == 1:
        return f"hole {words[0]}"
    return "holes " + (words[0] if len(words) == 1 else ", ".join(words[:-1]) + " and " + words[-1])
