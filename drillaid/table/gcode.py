"""Writes an RS-274 file that drills a board on a machine nobody watches with a camera.

The words are those of NIST's NGC interpreter (Kramer, Proctor, Messina, NISTIR 6556, 2000),
by the rules in the documentation of an open descendant of it: G81 X Y Z R is rapid to
X Y, rapid to R, feed to Z, rapid up; G83 with Q the same in pecks; G98 returns to the
height the cycle began from; M0 waits for the person; M2 ends. Every cycle line carries all
its words, so no line leans on what another controller keeps between lines. `spell_out`
uses G0 and G1 in place of cycles, for controllers that have none.
"""

from __future__ import annotations

import math
import re
import textwrap
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from drillaid.errors import UsageError
from drillaid.guidance.work import Work
from drillaid.table.dialect import Dialect
from drillaid.table.gcode_places import Places
from drillaid.table.setup import TableSetup
from drillaid.table.strokes import ABOVE_MM, BELOW_MM, DEFAULT_RPM, PECKS_OF, TIP_OF, feed_mm_min

MODES = ("G21", "G90", "G94", "G54")  # mm, absolute, feed per minute, first work offset
LEAST_SAFE_MM = 1.0  # between safe height and board
DRY_DWELL_S = 0.5


@dataclass(frozen=True)
class Cut:
    """How the file drills. Heights are Z words of the file, mm, up positive.

    safe_z_mm: where nothing sticks up into the bit's way; surface_z_mm: the bit's tip on
    the board's upper face; drill_z_mm, feed_mm_min, peck_mm, None: by each bit as
    `table.strokes`; peck_mm 0: in one go. spindle_rpm 0: the spindle has a switch of its own.
    """

    safe_z_mm: float
    surface_z_mm: float
    thickness_mm: float = 1.6
    drill_z_mm: float | None = None
    feed_mm_min: float | None = None
    peck_mm: float | None = None
    spindle_rpm: float = 0.0
    spin_up_s: float = 2.0
    fastest_mm_min: float = math.inf
    spell_out: bool = False
    dry_run: bool = False

    def __post_init__(self) -> None:
        if not self.safe_z_mm >= self.surface_z_mm + LEAST_SAFE_MM:
            raise UsageError(
                f"the safe height, Z {self.safe_z_mm:g} mm, is not {LEAST_SAFE_MM:g} mm above the "
                f"board's face, Z {self.surface_z_mm:g} mm",
                remedy="give a higher --safe-z, above clamps and all that sticks up",
            )
        if self.drill_z_mm is not None and not self.drill_z_mm < self.surface_z_mm:
            raise UsageError(
                f"--drill-z {self.drill_z_mm:g} mm is not below the board's face, "
                f"Z {self.surface_z_mm:g} mm", remedy="give where the bit's tip shall turn back",
            )  # fmt: skip
        for name, value in (("--feed", self.feed_mm_min), ("--peck", self.peck_mm)):
            if value is not None and not (0 <= value < 1e5 and (value > 0 or name == "--peck")):
                raise UsageError(f"{name} is {value:g}", remedy="give a number above 0")

    @classmethod
    def of(cls, setup: TableSetup, thickness_mm: float, **changes) -> Cut:
        """What the rig's [table] says; OutOfReach for a depth beyond its soft limits."""
        values = dict(
            safe_z_mm=setup.safe_z_mm, surface_z_mm=setup.surface_z_mm, thickness_mm=thickness_mm,
            feed_mm_min=setup.feed_mm_min, peck_mm=setup.peck_mm, spindle_rpm=setup.spindle_rpm,
            spin_up_s=setup.spin_up_s, fastest_mm_min=60 * setup.pace.speed_mm_s[2],
        )  # fmt: skip
        return cls(**values | changes)

    def pass_of(self, bit_mm: float) -> Pass:
        """Depth, feed and pecks for one bit."""
        depth_z = self.drill_z_mm
        if depth_z is None:
            depth_z = self.surface_z_mm - self.thickness_mm - TIP_OF * bit_mm - BELOW_MM
        feed = self.feed_mm_min or feed_mm_min(bit_mm, self.spindle_rpm or DEFAULT_RPM)
        top = min(self.surface_z_mm + ABOVE_MM, self.safe_z_mm)
        deep = self.surface_z_mm - depth_z
        peck = max(PECKS_OF * bit_mm, 0.5) if self.peck_mm is None else self.peck_mm
        pecks = max(1, math.ceil(deep / peck - 1e-9)) if peck else 1
        return Pass(bit_mm, top, depth_z, min(feed, self.fastest_mm_min), pecks)


@dataclass(frozen=True)
class Pass:
    """For one bit: top_z_mm where the feed begins, drill_z_mm where it turns back."""

    bit_mm: float
    top_z_mm: float
    drill_z_mm: float
    feed_mm_min: float
    pecks: int


def check_depths(cut: Cut, setup: TableSetup, bits_mm: Iterable[float]) -> None:
    """OutOfReach where the table's soft limits do not let the bit go so deep or so high."""
    setup.check(None, None, cut.safe_z_mm)
    for bit in bits_mm:
        setup.check(None, None, cut.pass_of(bit).drill_z_mm)


def write_program(
    work: Work, places: Places, cut: Cut, dialect: Dialect, header: Iterable[str] = ()
) -> str:
    """The whole file, lines ended by the dialect's ending. header: sentences, as comments.

    Each stop of the work is drilled once, in its order, between a safe beginning and a safe
    end; nothing moves in X or Y below the safe height. UsageError where the dialect's
    lines are too short or its words are not RS-274.
    """
    lines = [*_header(header, dialect), *_body(work, places, cut, dialect)]
    for line in lines:
        if len(line + dialect.ending) > dialect.longest:
            raise UsageError(
                f"'{line}' is longer than the {dialect.longest} bytes that {dialect.name} takes",
                remedy="correct line.longest of the dialect",
            )
    return "".join(line + dialect.ending for line in lines)


def _body(work: Work, places: Places, cut: Cut, dialect: Dialect) -> Iterator[str]:
    yield from dict.fromkeys([*dialect.begin, *MODES])
    if not cut.spell_out:
        yield "G80 G98"
    yield dialect.spindle_off
    up = dialect.move(dialect.rapid, z=cut.safe_z_mm)
    yield up
    rows = range(len(work.stops))
    total = len(work.bits_mm)
    for k, (bit, group) in enumerate(groupby(rows, key=lambda row: work.stops[row].bit_mm), 1):
        own = list(group)
        yield from _fit(bit, k, total, len(own), places, cut, dialect)
        yield from _drill(own, work, places, cut, dialect)
        if not cut.spell_out:
            yield "G80"
        yield up
        yield dialect.spindle_off
    yield from _park(places, dialect)
    yield from _said(f"End: {len(work.by_hole)} holes.", dialect)
    yield "M2"


def _fit(
    bit: float, number: int, total: int, count: int, places: Places, cut: Cut, dialect: Dialect
) -> Iterator[str]:
    """Spindle off and Z up already; waits for the person, then starts the spindle."""
    yield from _said(f"Bit {number} of {total}: {bit:g} mm, places: {count}.", dialect)
    if cut.dry_run:
        yield from _message("Dry run: spindle OFF. Go on when hands are away.", dialect)
        yield "M0"
        return
    yield from _park(places, dialect)
    yield from _message(
        f"Spindle must stand. Fit {bit:g} mm bit, tip as before. Hands away, then go on.", dialect
    )
    yield "M0"
    if cut.spindle_rpm > 0:
        yield dialect.spindle_on.replace("{speed}", f"{cut.spindle_rpm:.0f}")
        yield f"G4 P{dialect.number(cut.spin_up_s)}"
    else:
        yield from _message("Switch the spindle on. Hands away, then go on.", dialect)
        yield "M0"


def _park(places: Places, dialect: Dialect) -> Iterator[str]:
    if places.park_mm is not None:
        x, y = places.park_mm
        yield dialect.move(dialect.rapid, x=x, y=y)


def _drill(
    rows: list[int], work: Work, places: Places, cut: Cut, dialect: Dialect
) -> Iterator[str]:
    made = cut.pass_of(work.stops[rows[0]].bit_mm)
    for row in rows:
        stop, (x, y) = work.stops[row], places.xy_mm[row].tolist()
        part = f" part {stop.part} of {stop.parts}" if stop.parts > 1 else ""
        yield f"(hole {stop.hole}{part})"
        before = np.array([x, y]) - places.approach_mm
        if places.approach_mm.any():
            yield dialect.move(dialect.rapid, x=before[0], y=before[1])
        if cut.dry_run:
            yield dialect.move(dialect.rapid, x=x, y=y)
            yield f"G4 P{dialect.number(DRY_DWELL_S)}"
        elif cut.spell_out:
            yield from _spelled_out(x, y, made, cut, dialect)
        else:
            yield _cycle(x, y, made, cut, dialect)


def _cycle(x: float, y: float, made: Pass, cut: Cut, dialect: Dialect) -> str:
    n = dialect.number
    where = f"X{n(x)} Y{n(y)} Z{n(made.drill_z_mm)} R{n(made.top_z_mm)}"
    if made.pecks == 1:
        return f"G81 {where} F{made.feed_mm_min:.0f}"
    # Pecks are counted from R. Rounded up, so that no sliver is left for one more.
    grain = 10**dialect.decimals
    q = math.ceil((made.top_z_mm - made.drill_z_mm) / made.pecks * grain - 1e-6) / grain
    return f"G83 {where} Q{n(q)} F{made.feed_mm_min:.0f}"


def _spelled_out(x: float, y: float, made: Pass, cut: Cut, dialect: Dialect) -> Iterator[str]:
    yield dialect.move(dialect.rapid, x=x, y=y)
    yield dialect.move(dialect.rapid, z=made.top_z_mm)
    deep = made.top_z_mm - made.drill_z_mm
    for k in range(1, made.pecks + 1):
        z = made.top_z_mm - deep * k / made.pecks
        yield dialect.move(dialect.feed, z=z, feed=made.feed_mm_min)
        if k < made.pecks:
            yield dialect.move(dialect.rapid, z=made.top_z_mm)
    yield dialect.move(dialect.rapid, z=cut.safe_z_mm)


# --- comments ---------------------------------------------------------------------


def _header(sentences: Iterable[str], dialect: Dialect) -> Iterator[str]:
    for sentence in sentences:
        yield from _said(sentence, dialect)


def _said(sentence: str, dialect: Dialect) -> Iterator[str]:
    """Comments, as many lines as the controller's longest line makes of it."""
    room = min(dialect.longest - len(dialect.ending), 90) - 2
    for line in textwrap.wrap(comment_text(sentence), max(room, 10)) or [""]:
        yield f"({line})"


def _message(sentence: str, dialect: Dialect) -> Iterator[str]:
    """Beside the pause: "MSG," shows it to the person, in controllers that know it (NGC's
    word, as remembered, not looked up); to all others it is a comment."""
    room = min(dialect.longest - len(dialect.ending), 90) - 7
    for line in textwrap.wrap(comment_text(sentence), max(room, 10)):
        yield f"(MSG, {line})"


def comment_text(text: str) -> str:
    """Plain ASCII that cannot end a comment: other letters without their accents or as "?"."""
    plain = unicodedata.normalize("NFKD", text.replace("±", "+-").replace("×", "x"))
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    plain = plain.encode("ascii", "replace").decode()
    plain = re.sub(r"[\x00-\x1f\x7f]", "?", plain)
    return plain.translate(str.maketrans({"(": "[", ")": "]", ";": ",", "%": "?", "!": "."}))
