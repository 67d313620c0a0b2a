"""The closing comparison: what was found and measured, against what the scenario drew.

The one place of the demo that may look at the truth, after everything is done.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.demonstration.drilling import Drilled
from drillaid.demonstration.scenario import PRINT_SCALE, Scenario
from drillaid.inspection.result import DRILLED, Inspection
from drillaid.registration.result import Registration


@dataclass(frozen=True)
class Comparison:
    """scale_found, scale_drawn: (sx, sy), along the drawing's axes
    guided_rms_mm: of the distance between where guidance said the hole was as the
      lever was pulled and where it really was; guided_said_mm: rms of what it expected
    measured_rms_mm: of the distance between measured and true centres of the drilled
      holes; measured_said_mm: what was expected; measured: how many
    slip_seen_mm: what the inspection says about the hole whose board was pulled aside,
      None if it was not measured; slip_true_mm: how far off it really is
    """

    scale_found: tuple[float, float]
    scale_drawn: tuple[float, float]
    guided_rms_mm: float
    guided_said_mm: float
    measured: int
    measured_rms_mm: float
    measured_said_mm: float
    slip_hole: int
    slip_seen_mm: float | None
    slip_true_mm: float | None

    def to_json(self) -> dict:
        return {
            name: list(value) if isinstance(value, tuple) else value
            for name, value in vars(self).items()
        }


def compare(
    scenario: Scenario, registration: Registration, drilled: Drilled, inspection: Inspection
) -> Comparison:
    """registration: of the first photograph; the board may have moved since."""
    sx, sy = registration.placement.matrix.scale
    off = np.hypot(*(drilled.stated_mm - drilled.true_mm).T)
    bored = {
        hole: np.array(at.at_mm)
        for hole, at in zip(drilled.holes, scenario.bench.board.drilled, strict=True)
    }
    errors, said = _measured(scenario, bored, inspection)
    slipped = next(iter(scenario.slips))
    found = {finding.hole: finding for finding in inspection.holes}[slipped]
    asked = scenario.bench.board.design.xy_mm[slipped - 1]
    true = np.hypot(*(bored[slipped] - asked)) if slipped in bored else None
    return Comparison(
        scale_found=(float(sx), float(sy)),
        scale_drawn=PRINT_SCALE,
        guided_rms_mm=_rms(off),
        guided_said_mm=_rms(drilled.said_mm),
        measured=len(errors),
        measured_rms_mm=_rms(errors),
        measured_said_mm=_rms(said),
        slip_hole=slipped,
        slip_seen_mm=found.distance_mm,
        slip_true_mm=None if true is None else float(true),
    )


def _measured(scenario: Scenario, bored, inspection: Inspection) -> tuple[np.ndarray, np.ndarray]:
    """Errors of the measured offsets, design mm, and what was expected of them."""
    design = scenario.bench.board.design
    errors, said = [], []
    for finding in inspection.holes:
        if finding.state == DRILLED and finding.hole in bored:
            off = bored[finding.hole] - design.xy_mm[finding.hole - 1]
            errors.append(np.hypot(*(np.array(finding.off_mm) - off)))
            said.append(finding.expected_error_mm)
    return np.array(errors), np.array(said)


def _rms(values) -> float:
    values = np.asarray(values, dtype=np.float64)
    return float(np.sqrt((values**2).mean())) if values.size else float("nan")
