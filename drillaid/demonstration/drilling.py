"""The guided drilling of the demo: the real guidance, a simulated camera and operator."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from drillaid.demonstration.scenario import Scenario, ready_to_drill
from drillaid.design.model import Design
from drillaid.errors import StorageError
from drillaid.guidance import guidance as g
from drillaid.guidance.event_lines import EventLines
from drillaid.guidance.finder import BoardFinder
from drillaid.guidance.keeping import Keeper
from drillaid.guidance.live import LiveGuidance
from drillaid.guidance.session import Session
from drillaid.guidance.work import Work
from drillaid.registration.result import Registration
from drillaid.simulation.camera import SimulatedCamera
from drillaid.simulation.operator import Operator, brisk_hand

FPS = 4.0  # of the virtual clock: the operator looks, moves, and looks again
MOST_FRAMES = 4000


@dataclass(frozen=True, eq=False)
class Drilled:
    """holes, in the order they were drilled; seconds: on the bench's virtual clock

    stated_mm, true_mm: (M, 2), where guidance put the hole under the spindle in
      the last picture before the lever was pulled, and where the bench knows it
      was, bench mm; said_mm: (M,) the error guidance expected then
    by_bit: bit -> (holes, virtual seconds); watching: a picture from the middle of it
    felt: holes at which the operator felt the board being pulled
    ended: the last state; lost: pictures in which the board was not found
    """

    holes: tuple[int, ...]
    skipped: tuple[int, ...]
    frames: int
    lost: int
    seconds: float
    stated_mm: np.ndarray
    true_mm: np.ndarray
    said_mm: np.ndarray
    by_bit: dict[float, tuple[int, float]]
    watching: np.ndarray | None
    felt: tuple[int, ...]
    ended: str
    message: str


class _Log:
    """What the closing comparison needs, noted while drilling; read by nothing else."""

    def __init__(self, scenario: Scenario, design: Design) -> None:
        self._bench, self._xy = scenario.bench, design.xy_mm
        self.stated: list[np.ndarray] = []
        self.true: list[np.ndarray] = []
        self.said: list[float] = []
        self.by_bit: dict[float, list[float]] = {}

    def lever(self, guidance: g.Guidance) -> None:
        place = self._xy[[guidance.hole - 1]]
        self.stated.append(guidance.matrix(place)[0])
        self.true.append(self._bench.truth(place)[0])
        self.said.append(guidance.expected_error_mm)
        self.by_bit.setdefault(guidance.bit_mm, []).append(guidance.time_s)


def drill_by_guidance(
    scenario: Scenario,
    design: Design,
    work: Work,
    start: tuple[Registration, np.ndarray],
    *,
    seed: int,
    journal,
    board: int,
    events: EventLines,
    tell: Callable[[str], None],
) -> Drilled:
    """All holes of the board, from a registration and its photograph."""
    bench = scenario.bench
    ready_to_drill(bench)
    session = Session(work, bench.rig.spindle_mm(bench.thickness_mm))
    operator = Operator(bench, brisk_hand(seed, FPS), slips=scenario.slips)
    camera = SimulatedCamera(bench, FPS, before_frame=operator.before_frame)
    finder = BoardFinder.of(design, bench.rig, face=bench.board.face,
                            thickness_mm=bench.thickness_mm)  # fmt: skip
    finder.take(*start)
    live = LiveGuidance(
        camera, finder, session,
        clock=lambda: camera.time_s,
        keeper=Keeper(journal, board, tell),
        listen=_Listener(events, tell),
    )  # fmt: skip
    return _loop(live, operator, _Log(scenario, design), len(design.holes))


def _loop(live: LiveGuidance, operator: Operator, log: _Log, holes: int) -> Drilled:
    watching, lost = None, 0
    guidance = live.step()
    while guidance.state != g.FINISHED and operator.given_up is None:
        if live.unwritten is not None:
            raise StorageError(live.unwritten)
        if live.frames >= MOST_FRAMES:
            break
        if guidance.state == g.ON_TARGET:
            log.lever(guidance)
            if watching is None and len(operator.drilled) >= holes // 2:
                watching = live.frame.image
        guidance = operator.follow(live, guidance)
        if guidance.state != g.FINISHED:
            guidance = live.step()
            lost += not live.registration.ok
    times = {bit: (len(t), t[-1] - t[0]) for bit, t in log.by_bit.items()}
    return Drilled(
        tuple(operator.drilled), guidance.skipped, live.frames, lost, guidance.time_s,
        np.array(log.stated).reshape(-1, 2), np.array(log.true).reshape(-1, 2),
        np.array(log.said), times, watching, tuple(operator.felt), guidance.state, guidance.message,
    )  # fmt: skip


class _Listener:
    """Events to their file; a word at each bit change and every 15 holes."""

    def __init__(self, events: EventLines, tell: Callable[[str], None]) -> None:
        self._events, self._tell = events, tell
        self._bit: float | None = None

    def __call__(self, guidance: g.Guidance) -> None:
        self._events.write(*guidance.events)
        if guidance.bit_change is not None and guidance.bit_change.bit_mm != self._bit:
            self._bit = guidance.bit_change.bit_mm
            self._tell(guidance.message)
            for caution in guidance.bit_change.cautions:
                self._tell(f"  {caution}")
        done = guidance.progress.done
        if any(event.event == "hole_done" for event in guidance.events) and done % 15 == 0:
            self._tell(f"{done} of {guidance.progress.holes} holes drilled.")
