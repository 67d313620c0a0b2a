"""What is drawn over the picture while the table drills: the same as for the hand."""

from __future__ import annotations

from dataclasses import dataclass

from drillaid.geometry import Affine
from drillaid.guidance.aim import Settings
from drillaid.guidance.progress import Progress
from drillaid.guidance.scene import Scene, scene_of
from drillaid.guidance.view import FAR_MM, View, hands_px_per_mm
from drillaid.guidance.work import Stop
from drillaid.table import job as j


@dataclass(frozen=True, eq=False)
class _Moment:
    """As much of a moment of guidance as a scene is made of; nobody pushes: no way to push."""

    hole: int | None
    target: Stop | None
    matrix: Affine | None
    expected_error_mm: float | None
    off_mm: None = None


def scene_at(
    parts, size: tuple[int, int], frame, registration, view: j.JobView | None, progress: Progress
) -> tuple[View, Scene]:
    """parts: `TableParts`; registration: what was found in this very frame, or None."""
    rig, thickness = parts.rig, parts.board.thickness_mm
    spindle_px = rig.to_pixels([parts.spindle_mm], thickness)[0]
    near = View.hands(hands_px_per_mm(rig, parts.spindle_mm, thickness), spindle_px, size, FAR_MM)
    place = None if registration is None else registration.placement
    hole = None if view is None else view.hole
    target = next((stop for stop in progress.work.stops if stop.hole == hole), None)
    moment = _Moment(
        None if target is None else hole, target, None if place is None else place.matrix,
        None if view is None else view.expected_error_mm,
    )  # fmt: skip
    settings = Settings(tolerance_mm=j.JobSettings().tolerance_mm)
    return near, scene_of(
        near, spindle_px, parts.board.design, settings, moment, registration, progress
    )
