"""Footprints of the parts a hobby board carries: pins, drills and lands.

Pitches are those of the trade: 2.54 mm in rows, 7.62 mm between the rows of a
narrow dual-in-line part, 5.08 mm for screw terminals. Drills and lands are
common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Pin:
    """One hole of a part; dx, dy from the part's first pin. size_mm None: no copper at all."""

    dx_mm: float
    dy_mm: float
    drill_mm: float
    shape: str = "round"
    size_mm: tuple[float, float] | None = (1.6, 1.6)


@dataclass(frozen=True)
class Part:
    """pins in the order of their numbers; body: half-space kept free round the pins, mm."""

    name: str
    pins: tuple[Pin, ...]
    body_mm: float = 1.6


def _first_square(pins: list[Pin]) -> tuple[Pin, ...]:
    first = pins[0]
    return (Pin(first.dx_mm, first.dy_mm, first.drill_mm, "rectangle", first.size_mm), *pins[1:])


def dual_row(count: int, spacing_mm: float = 7.62, oblong: bool = True) -> Part:
    """A dual-in-line socket of `count` pins, numbered round as usual."""
    shape, size = ("oblong", (2.3, 1.5)) if oblong else ("round", (1.7, 1.7))
    rows = count // 2
    left = [Pin(0.0, -2.54 * i, 0.8, shape, size) for i in range(rows)]
    right = [Pin(spacing_mm, -2.54 * i, 0.8, shape, size) for i in reversed(range(rows))]
    return Part(f"DIP-{count}", _first_square(left + right))


def header(count: int, drill_mm: float = 1.0, octagon: bool = False) -> Part:
    """A single row of square posts."""
    shape = "octagon" if octagon else "oblong"
    size = (1.8, 1.8) if octagon else (1.7, 2.1)
    return Part(
        f"header 1x{count}",
        _first_square([Pin(2.54 * i, 0.0, drill_mm, shape, size) for i in range(count)]),
    )


def terminal(count: int, pitch_mm: float = 5.08) -> Part:
    """A screw terminal block."""
    pins = [Pin(pitch_mm * i, 0.0, 1.3, "round", (2.6, 2.6)) for i in range(count)]
    return Part(f"terminal {count}", _first_square(pins), 4.0)


def two_pin(name: str, pitch_mm: float, drill_mm: float, land_mm: float, shape="round") -> Part:
    """Two equal lands, the first at the origin."""
    size = (land_mm, land_mm)
    return Part(
        name, (Pin(0.0, 0.0, drill_mm, shape, size), Pin(pitch_mm, 0.0, drill_mm, shape, size))
    )


def resistor(pitch_mm: float = 10.16) -> Part:
    """A quarter-watt resistor lying down."""
    return two_pin("resistor", pitch_mm, 0.8, 1.6)


def diode(pitch_mm: float = 7.62) -> Part:
    """A small diode; the cathode has the square land."""
    return Part("diode", _first_square(list(two_pin("", pitch_mm, 0.8, 1.6).pins)))


def rectifier() -> Part:
    """A diode with thick leads."""
    return two_pin("rectifier", 12.7, 1.0, 2.2)


def electrolytic(pitch_mm: float = 2.5) -> Part:
    """An upright capacitor; plus has the square land."""
    pins = list(two_pin("", pitch_mm, 0.8, 1.6 if pitch_mm < 4 else 1.9).pins)
    return Part("electrolytic", _first_square(pins), 2.2 + pitch_mm / 3)


def film_capacitor() -> Part:
    """A box capacitor on octagons."""
    return two_pin("film capacitor", 5.08, 0.8, 1.6, "octagon")


def transistor(in_line: bool = True) -> Part:
    """Three leads in a row, or the middle one bent out."""
    middle = 0.0 if in_line else 2.54
    size = (1.4, 1.8) if in_line else (1.5, 1.5)
    shape = "oblong" if in_line else "round"
    return Part(
        "transistor",
        _first_square(
            [
                Pin(0.0, 0.0, 0.8, shape, size),
                Pin(2.54, middle, 0.8, shape, size),
                Pin(5.08, 0.0, 0.8, shape, size),
            ]
        ),
        2.2,
    )


def trimmer() -> Part:
    """A trimming potentiometer, three pins in a triangle."""
    size = (1.8, 1.8)
    return Part(
        "trimmer",
        (
            Pin(0.0, 0.0, 1.0, "round", size),
            Pin(2.54, 5.08, 1.0, "round", size),
            Pin(5.08, 0.0, 1.0, "round", size),
        ),
        2.5,
    )


def relay() -> Part:
    """A small power relay."""
    at = [(0.0, 0.0), (2.0, 6.0), (14.2, 6.0), (14.2, -6.0), (2.0, -6.0)]
    return Part("relay", tuple(Pin(x, y, 1.3, "round", (2.8, 2.8)) for x, y in at), 3.0)


def mounting_hole(land_mm: float | None = None) -> Part:
    """A 3.2 mm hole for an M3 screw, with or without copper round it."""
    size = None if land_mm is None else (land_mm, land_mm)
    return Part("mounting hole", (Pin(0.0, 0.0, 3.2, "round", size),), 3.2)


def random_part(rng: np.random.Generator) -> Part:
    """One part, as often as such boards carry it."""
    makers = (
        (0.26, lambda: resistor(float(rng.choice([7.62, 10.16, 10.16, 12.7])))),
        (0.10, lambda: diode(float(rng.choice([7.62, 10.16])))),
        (0.03, rectifier),
        (0.11, lambda: electrolytic(float(rng.choice([2.5, 5.0])))),
        (0.10, film_capacitor),
        (0.09, lambda: transistor(bool(rng.random() < 0.6))),
        (
            0.12,
            lambda: dual_row(
                int(rng.choice([6, 8, 8, 14, 16, 18, 28])), oblong=bool(rng.random() < 0.75)
            ),
        ),
        (0.10, lambda: header(int(rng.integers(2, 11)), octagon=bool(rng.random() < 0.3))),
        (0.05, lambda: terminal(int(rng.integers(2, 5)))),
        (0.03, trimmer),
        (0.01, relay),
    )
    weights = np.array([w for w, _ in makers])
    return makers[int(rng.choice(len(makers), p=weights / weights.sum()))][1]()
