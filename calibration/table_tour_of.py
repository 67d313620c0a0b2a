"""What a table's measuring is made of: who is followed, the eye, the tour. For command and window."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from calibration.pattern import Pattern
from calibration.table_sheet import SheetFinder, middle_of
from calibration.table_tour import Plan, Tour
from drillaid.design.model import Design
from drillaid.guidance.finder import BoardFinder
from drillaid.rig.frame import Camera
from drillaid.rig.pictures import check_size
from drillaid.rig.rig import Rig
from drillaid.rig.still_true import RigWatch
from drillaid.table.eye import Eye
from drillaid.table.machine import Machine

# Said with the cautions, before anything moves.
BEFORE = (
    "The bit out of the chuck, the spindle switched off, what the camera follows clamped on the "
    "part that moves, hands away."
)


@dataclass(frozen=True, eq=False)
class Followed:
    """finder: gives its place in a picture; points_mm: (N, 2), of its own frame, that must stay
    in view; height_mm: of the face they lie on, over the bench"""

    finder: object
    points_mm: np.ndarray
    height_mm: float


def follow_board(
    design: Design, rig: Rig, *, face: str = "bottom", thickness_mm: float = 1.6,
    live: bool = True,
) -> Followed:  # fmt: skip
    """A board that the registration finds. live: pictures come by the clock."""
    finder = BoardFinder.of(design, rig, face=face, thickness_mm=thickness_mm, hurry=live)
    return Followed(finder, design.xy_mm, thickness_mm)


def follow_sheet(rig: Rig, pattern: Pattern, height_mm: float) -> Followed:
    """The printed test board. height_mm: of its face over the bench."""
    return Followed(SheetFinder(rig, pattern, height_mm), middle_of(pattern), height_mm)


def tour_of(
    machine: Machine, camera: Camera, clock: Callable[[], float], rig: Rig, followed: Followed,
    plan: Plan, tell: Callable[[str], None],
) -> Tour:  # fmt: skip
    """clock: of the camera's frames; tell: called with sentences for the person."""
    eye = Eye(camera, followed.finder, clock, check=lambda frame: check_size(rig, frame),
              watch=RigWatch.of(rig))  # fmt: skip
    return Tour(machine, eye, rig, followed.points_mm, plan, height_mm=followed.height_mm,
                tell=tell)  # fmt: skip
