"""What is drawn upon the photograph of a drilled board, in its pixels, for whoever draws it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drillaid.design.model import Design
from drillaid.inspection.check import Check
from drillaid.inspection.figures import cropped, magnification
from drillaid.inspection.report_parts import worth_a_number
from drillaid.inspection.result import DRILLED, Inspection
from drillaid.registration.result import Placement
from drillaid.rig.rig import Rig


@dataclass(frozen=True)
class Mark:
    """One hole. Places (u, v) in px of `Drawn.picture`, (0, 0) its upper left corner.

    asked: where the design wants it; at: where it is; tip: of the error arrow from `asked`
    radius: of the hole; None for all three where it was not drilled
    numbered: worth its number beside it; broken: it broke out of its land
    """

    hole: int
    state: str
    asked: tuple[float, float]
    at: tuple[float, float] | None
    tip: tuple[float, float] | None
    radius: float | None
    numbered: bool
    broken: bool


@dataclass(frozen=True, eq=False)
class Drawn:
    """picture: the board's part of the photograph, uint8 BGR
    outline: (N, 2) px or None; px_per_mm: of the board; enlarged: how many times too long the
    arrows are drawn
    """

    picture: np.ndarray
    outline: np.ndarray | None
    marks: tuple[Mark, ...]
    px_per_mm: float
    enlarged: int


def drawn(check: Check) -> Drawn:
    """check: of a board that was found."""
    return drawn_upon(
        check.picture, check.job.design, check.registration.placement, check.inspection, check.rig
    )


def drawn_upon(
    photograph: np.ndarray, design: Design, placement: Placement, inspection: Inspection,
    rig: Rig | None,
) -> Drawn:  # fmt: skip
    """The same from its parts."""
    picture, corner, scale = cropped(photograph, placement)
    enlarged = magnification(inspection)
    numbered = worth_a_number(inspection)
    mm = placement.px_per_mm * scale

    def px(place) -> np.ndarray:
        return (np.asarray(place, dtype=np.float64) - corner + 0.5) * scale

    marks = []
    for finding, place in zip(inspection.holes, placement.pixels, strict=True):
        if not np.isfinite(place).all():
            continue
        asked = px(place)
        at = tip = radius = None
        if finding.state == DRILLED:
            at = px(finding.pixel)
            tip = tuple(map(float, asked + enlarged * (at - asked)))
            at = tuple(map(float, at))
            radius = finding.diameter_mm / 2 * mm
        marks.append(
            Mark(
                finding.hole,
                finding.state,
                tuple(map(float, asked)),
                at,
                tip,
                radius,
                finding.hole in numbered,
                bool(finding.breakout_deg),
            )  # fmt: skip
        )
    return Drawn(picture, _outline(design, placement, rig, px), tuple(marks), mm, enlarged)


def _outline(design: Design, placement: Placement, rig: Rig | None, px) -> np.ndarray | None:
    if design.outline is None:
        return None
    ring = placement.homography(design.outline.rings_mm[0])
    if rig is not None:
        ring = rig.distort(ring)
    return px(ring[np.isfinite(ring).all(axis=1)])
