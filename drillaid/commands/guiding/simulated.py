"""`guide --camera sim`: bench and operator in software, behind the camera's interface."""

from __future__ import annotations

from collections.abc import Callable

from drillaid.guidance.session import Session
from drillaid.simulation.bench import SimulatedBench
from drillaid.simulation.camera import SimulatedCamera
from drillaid.simulation.mishaps import KnockedArm
from drillaid.simulation.operator import Operator, brisk_hand

FPS = 4.0  # of a virtual clock: the operator looks, moves, and looks again


def simulated_work(
    bench: SimulatedBench, session: Session, seed: int, knock_after: int | None = None
) -> tuple[Operator, Callable[..., SimulatedCamera]]:
    """The operator and a factory for `register_source`.

    knock_after: the camera's arm is knocked when so many holes are done
    Holes the session knows as done are drilled on the bench's board already.
    """
    knock = None if knock_after is None else KnockedArm(bench, knock_after)
    operator = Operator(bench, brisk_hand(seed, FPS), knock=knock)
    stops = session.progress.work.stops
    for row in sorted(session.progress.done):
        bench.board.drill(stops[row].xy_mm, stops[row].bit_mm)

    def factory(*, size: tuple[int, int]) -> SimulatedCamera:
        return SimulatedCamera(bench, FPS, before_frame=operator.before_frame)

    return operator, factory
