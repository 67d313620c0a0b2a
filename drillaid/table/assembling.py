"""A drilling job from its parts: design, rig, link and camera. For command, window and demo."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from drillaid.errors import RigError
from drillaid.geometry import Affine
from drillaid.guidance.finder import BoardFinder
from drillaid.guidance.order import Order
from drillaid.guidance.work import Work
from drillaid.rig.budget import spindle_error_mm
from drillaid.rig.frame import Camera
from drillaid.rig.pictures import check_size
from drillaid.rig.rig import Rig
from drillaid.rig.still_true import RigWatch
from drillaid.table.controller import Controller
from drillaid.table.dialect_file import load_dialect
from drillaid.table.drilling import DrillJob
from drillaid.table.eye import Eye
from drillaid.table.job import JobSettings
from drillaid.table.link import Link
from drillaid.table.machine import Machine
from drillaid.table.setup import TableSetup
from drillaid.table.timing import plan_for_table


@dataclass(frozen=True, eq=False)
class Board:
    """bits_mm: of each hole, in the design's order; face: towards the camera"""

    design: object
    bits_mm: Sequence[float]
    face: str
    thickness_mm: float


def assemble(
    board: Board,
    rig: Rig,
    setup: TableSetup,
    link: Link,
    camera: Camera,
    clock: Callable[[], float],
    settings: JobSettings,
    *,
    rig_file: str | None = None,
    begin: Callable[[Work, Order], None] = lambda work, order: None,
    **job,
) -> DrillJob:
    """clock: of the camera's frames; begin: called with the work and its order once the board
    is found and planned, before the first hole; job: as `DrillJob` takes it. RigError
    without a spindle axis, DialectError or UsageError for a dialect that is none."""
    spindle = rig.spindle_mm(board.thickness_mm)
    if spindle is None:
        raise RigError("[spindle] is missing, so nobody knows where the bit goes down",
                       file=rig_file, remedy="run drillaid calibrate spindle")  # fmt: skip
    finder = BoardFinder.of(
        board.design, rig, face=board.face, thickness_mm=board.thickness_mm, hurry=camera.live
    )
    machine = Machine(Controller(link, load_dialect(setup.dialect), setup), clock)

    def check(frame) -> None:
        check_size(rig, frame)

    def plan(to_table: Affine, here) -> Work:
        order = plan_for_table(board.design, list(board.bits_mm), to_table, setup.pace, tuple(here))
        work = Work.of(board.design, order)
        begin(work, order)
        return work

    return DrillJob(
        machine,
        Eye(camera, finder, clock, check=check, watch=RigWatch.of(rig)),
        plan,
        spindle,
        settings,
        spindle_error_mm=spindle_error_mm(rig, board.thickness_mm),
        matrix_sigma=rig.extra["table"].get("matrix_sigma"),
        **job,
    )
