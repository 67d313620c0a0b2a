"""IPC-D-356A netlists to a list of holes with their lands.

Columns of the 80-column records and units: tests/published/test_drill_decodings.py.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from drillaid.design import evidence
from drillaid.design.evidence import Extent, Reading
from drillaid.design.holelist import HoleList, Spot, refuse_too_many
from drillaid.design.model import Land
from drillaid.design.text import numbered_lines
from drillaid.errors import DesignError

# the part from column 33; some writers put blanks for signs and leading zeros
_FEATURE = re.compile(
    r"D(?P<hole>[0-9 ]{4})(?P<plated>[PU ])A(?P<access>[0-9 ]{2})"
    r"X(?P<x>[-+ ][0-9 ]{6})Y(?P<y>[-+ ][0-9 ]{6})"
    r"(?:X(?P<width>[0-9 ]{4})(?:Y(?P<height>[0-9 ]{4}))?(?:R(?P<turn>[0-9 ]{3}))?)?"
)
_UNITS = re.compile(r"^P\s+UNITS\s+(?:CUST\s*([0-9])|(SI|CUST))", re.I)
_STEP_MM = {"inch, 0.0001": 0.00254, "metric, 0.001 mm": 0.001, "inch, 0.00001": 0.000254}
_BY_CODE = {"0": ["inch, 0.0001"], "1": ["metric, 0.001 mm"], "SI": ["metric, 0.001 mm"]}
_BY_CODE["CUST"] = _BY_CODE["0"]
_BY_CODE["2"] = ["inch, 0.0001", "inch, 0.00001"]  # sources contradict each other
_LARGEST_MM = 50.0


@dataclass
class _Feature:
    line: int
    hole: int
    plated: bool | None
    x: int
    y: int
    width: int
    height: int
    turn_deg: int
    component: str


def looks_like_netlist(lines: list[tuple[int, str]]) -> bool:
    """Through-hole or tooling records, or a units parameter, among the first lines."""
    for _, text in lines[:400]:
        if _UNITS.match(text) or (text[:3] in ("317", "367") and _FEATURE.search(text, 28)):
            return True
    return False


def read_netlist(data: bytes, name: str, extent: Extent | None = None) -> HoleList:
    """Through holes (317) and tooling holes (367) in file order, doubles left out.

    Raises DesignError with the line for records that cannot be read.
    """
    units: str | None = None
    features: list[_Feature] = []
    for line, text in numbered_lines(data, name):
        if match := _UNITS.match(text):
            units = _stated_units(match, units, name, line)
        elif text[:3] in ("317", "367"):
            feature = _feature(text, name, line)
            if feature is not None:
                features.append(feature)
                refuse_too_many(len(features), name, line)
        elif text[:3] == "999":
            break
    if not features:
        return HoleList(name, "netlist", (), "no holes")
    step, warnings = _step(units, features, name, extent)
    size_factor = _size_factor(features, _STEP_MM[step], name, warnings)
    spots = _spots(features, _STEP_MM[step], size_factor, name)
    return HoleList(name, "netlist", tuple(spots), step, tuple(warnings), bool(warnings))


def _stated_units(match: re.Match, known: str | None, name: str, line: int) -> str:
    code = (match[1] or match[2]).upper()
    if code not in _BY_CODE or (known is not None and known != code):
        raise DesignError(
            f"UNITS {match[0].split(None, 2)[-1]} is unknown or contradicts an earlier line",
            file=name,
            line=line,
            remedy="keep one P UNITS line with CUST 0 (inch) or CUST 1 (mm)",
        )
    return code


def _feature(text: str, name: str, line: int) -> _Feature | None:
    match = _FEATURE.search(text, 28)
    if match is None:
        if text[:3] == "367" and "D" not in text[30:40]:
            return None  # a tooling feature without a hole
        raise DesignError(
            "is a hole record whose columns cannot be read",
            file=name,
            line=line,
            remedy="export the netlist again as IPC-D-356A with 80 columns",
        )
    numbers = {
        key: _whole(match[key]) for key in ("hole", "x", "y", "width", "height", "turn")
    }
    if numbers["x"] is None or numbers["y"] is None or not numbers["hole"]:
        raise DesignError(
            "has a hole record without diameter, X or Y",
            file=name,
            line=line,
            remedy="export the netlist again with hole sizes",
        )
    plated = {"P": True, "U": False}.get(match["plated"])
    return _Feature(
        line,
        numbers["hole"],
        plated,
        numbers["x"],
        numbers["y"],
        numbers["width"] or 0,
        numbers["height"] or 0,
        numbers["turn"] or 0,
        _component(text),
    )


def _component(text: str) -> str:
    """The reference in columns 21 to 26, where a '-' and a pin follow; a via is none."""
    name = text[20:26].strip()
    return name if text[26:27] == "-" and name.upper() != "VIA" else ""


def _whole(text: str | None) -> int | None:
    """A fixed-width number, blanks for leading zeros; None where it is all blank or broken."""
    match = re.fullmatch(r"([-+]?) *([0-9]+)", (text or "").strip())
    return int(match[1] + match[2]) if match else None


def _step(units, features, name, extent: Extent | None) -> tuple[str, list[str]]:
    """Size of one count of X and Y, with a warning where the file does not settle it."""
    options = _BY_CODE[units] if units else list(_STEP_MM)[:2]
    if len(options) == 1:
        return options[0], []
    readings = []
    for option in options:
        step = _STEP_MM[option]
        xy = np.array([(f.x, f.y) for f in features], dtype=np.float64) * step
        drills = np.array([f.hole for f in features], dtype=np.float64) * step
        readings.append(Reading(option, xy, evidence.plausibility(xy, drills, extent)))
    best, next_best = evidence.choose(readings)
    why = "sources disagree on UNITS CUST 2" if units else "the file has no P UNITS line"
    if next_best is not None and best.score - next_best.score < evidence.MARGIN:
        raise DesignError(
            f"{why}; {best.how} (holes span {evidence.size_text(best.xy_mm)}) and "
            f"{next_best.how} ({evidence.size_text(next_best.xy_mm)}) are both possible",
            file=name,
            line=features[0].line,
            remedy="write P  UNITS CUST 0 for inch or CUST 1 for mm, or give the outline as well",
        )
    return best.how, [
        f"{name}: {why}; read as {best.how} because the holes then span "
        f"{evidence.size_text(best.xy_mm)} with plausible diameters"
    ]


def _size_factor(features: list[_Feature], step_mm: float, name: str, warnings: list[str]) -> float:
    """1, or 10 where a file writes diameters in mils beside places in 0.0001 inch."""
    if step_mm != 0.00254:
        return 1.0
    holes = np.array([f.hole for f in features], dtype=np.float64) * step_mm
    low, high = evidence.SMALLEST_MM, evidence.LARGEST_MM
    fits = [float(np.mean((holes * k >= low) & (holes * k <= high))) for k in (1.0, 10.0)]
    if fits[1] <= fits[0] or fits[1] < 0.8:
        return 1.0
    warnings.append(
        f"{name}: diameters were read in mils because in 0.0001 inch, the file's unit, they "
        f"would be {holes.min():.2g} to {holes.max():.2g} mm"
    )
    return 10.0


def _spots(features, step_mm: float, factor: float, name: str) -> list[Spot]:
    seen: set[tuple[int, int, int]] = set()
    spots = []
    for feature in features:
        key = feature.x, feature.y, feature.hole
        if key in seen:  # the same hole once more, from the other side
            continue
        seen.add(key)
        drill = feature.hole * step_mm * factor
        if drill > _LARGEST_MM:
            raise DesignError(
                f"has a diameter of {drill:.4g} mm",
                file=name,
                line=feature.line,
                remedy="correct the diameter or the P UNITS line",
            )
        xy = feature.x * step_mm, feature.y * step_mm
        land = _land(feature, xy, step_mm * factor, drill)
        spots.append(Spot(*xy, drill, feature.plated, None, feature.line, land, feature.component))
    return spots


def _land(feature: _Feature, xy, unit_mm: float, drill_mm: float) -> Land | None:
    """X size alone: round; both sizes: a rectangle. None where it is no larger than the hole."""
    width = feature.width * unit_mm
    height = feature.height * unit_mm or width
    if min(width, height) <= drill_mm:
        return None
    shape = "rectangle" if feature.height else "round"
    return Land(shape, (width, height), math.radians(feature.turn_deg), xy)
