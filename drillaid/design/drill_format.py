"""How an NC drill file writes numbers: what its header says, and which readings that leaves.

Rules (IPC-NC-349 family, as quoted in tests/published/test_drill_decodings.py):
a number with a point stands as written; LZ means leading zeros are present, so
a short number lacks digits at its right end; TZ means trailing zeros are
present, so it lacks them at its left; inch numbers have 2 + 4 digits, metric
numbers 3 + 3 unless the file says otherwise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

MM_PER_INCH = 25.4
USUAL_DIGITS = {
    "inch": ((2, 4), (2, 5), (2, 3), (3, 3)),
    "metric": ((3, 3), (4, 4), (3, 2), (4, 2), (2, 4)),
}


@dataclass(frozen=True)
class NumberFormat:
    """unit: "inch" or "metric"; zeros: "LZ", "TZ" or "point"; digits before and after the point."""

    unit: str
    zeros: str
    whole: int
    fraction: int

    @property
    def mm(self) -> float:
        """One file unit in mm."""
        return MM_PER_INCH if self.unit == "inch" else 1.0

    def decoder(self) -> Callable[[str], float]:
        """A function from the text of a number (sign, digits, perhaps a point) to mm."""
        unit_mm, whole, divisor = self.mm, self.whole, 10.0**self.fraction
        left = self.zeros == "LZ"
        if self.zeros == "point":
            return lambda text: float(text or 0) * unit_mm

        def value_mm(text: str) -> float:
            if "." in text:
                return float(text) * unit_mm
            digits = text.lstrip("+-")
            if not digits:
                return 0.0
            if left:
                size = int(digits) * 10.0 ** (whole - len(digits))
            else:
                size = int(digits) / divisor
            return -size * unit_mm if text[0] == "-" else size * unit_mm

        return value_mm

    def __str__(self) -> str:
        if self.zeros == "point":
            return f"{self.unit}, decimal points"
        kept = "leading" if self.zeros == "LZ" else "trailing"
        return f"{self.unit} {self.whole}.{self.fraction}, {kept} zeros kept"


@dataclass
class Statement:
    """One thing a header says, and the line that says it."""

    value: object
    line: int


@dataclass
class Said:
    """What the file states about its numbers; None where it is silent.

    clashes: statements that contradict an earlier one, as (what, value, line)
    """

    unit: Statement | None = None
    zeros: Statement | None = None
    digits: Statement | None = None
    clashes: list[tuple[str, object, int]] = field(default_factory=list)

    def say(self, what: str, value: object, line: int) -> None:
        known = getattr(self, what)
        if known is None:
            setattr(self, what, Statement(value, line))
        elif known.value != value:
            self.clashes.append((what, value, line))

    def missing(self) -> list[str]:
        """Names of what the header leaves open, for a warning."""
        gaps = []
        if self.unit is None:
            gaps.append("the unit (INCH or METRIC)")
        if self.zeros is None:
            gaps.append("which zeros are kept (LZ or TZ)")
        return gaps


def candidates(said: Said, numbers: list[str]) -> list[NumberFormat]:
    """Every reading of `numbers` the header leaves open, the format's own default first."""
    with_point = sum("." in text for text in numbers) / max(1, len(numbers))
    short = whole_numbers_short(numbers)
    formats = []
    for unit in _options(said, "unit", ("metric", "inch")):
        digit_options = _options(said, "digits", USUAL_DIGITS[unit])
        for zeros in _zero_options(said, with_point, short):
            if zeros == "point":
                formats.append(NumberFormat(unit, "point", *digit_options[0]))
                continue
            formats.extend(NumberFormat(unit, zeros, *digits) for digits in digit_options)
    return formats


def whole_numbers_short(numbers: list[str]) -> bool:
    """No number without a point has more than three digits: so each may stand as written."""
    return all("." in text or len(text.lstrip("+-")) <= 3 for text in numbers)


def _options(said: Said, what: str, otherwise: tuple) -> tuple:
    known = getattr(said, what)
    if known is None:
        return otherwise
    return (known.value, *(value for name, value, _ in said.clashes if name == what))


def _zero_options(said: Said, with_point: float, short: bool) -> tuple[str, ...]:
    if with_point == 1.0:
        return ("point",)
    options: list[str] = []
    for zeros in _options(said, "zeros", ("LZ", "TZ")):
        # "all": neither side dropped, so both readings agree where digits are right
        options.extend(("LZ", "TZ") if zeros == "all" else (zeros,))
    if short and (with_point > 0 or said.zeros is None):  # 7 may be a plain 7
        options.append("point")
    return tuple(dict.fromkeys(options))


def zero_evidence(numbers: list[str]) -> dict[str, float]:
    """Points for LZ and TZ from the digits alone.

    A writer that keeps leading zeros and drops trailing ones never ends a
    number in 0; one that keeps trailing zeros never begins one with 0. Where
    all numbers are equally long nothing was dropped and nothing follows. Plain
    whole numbers do not begin with 0 either.
    """
    digits = [n.lstrip("+-") for n in numbers if "." not in n]
    digits = [d for d in digits if d.strip("0")]
    if not digits or (len(digits) > 2 and len({len(d) for d in digits}) == 1):
        return {"LZ": 0.0, "TZ": 0.0, "point": 0.0}
    begin = sum(d[0] == "0" for d in digits) / len(digits)
    end = sum(d[-1] == "0" for d in digits) / len(digits)
    return {"LZ": -min(6.0, 12.0 * end), "TZ": -min(6.0, 12.0 * begin), "point": -6.0 * begin}
