"""A drilling job on the simulated table with an eye that knows the truth: fast, no pictures drawn.

The eye's answer belongs to its picture: each picture carries its number, and the place of
the board at that moment is looked up by it, so that an old picture shows an old place.
"""

from __future__ import annotations

import itertools

import numpy as np
from support.scripted_camera import registered, unseen

from drillaid.errors import CameraLost, CameraTimeout
from drillaid.geometry import Affine
from drillaid.guidance import events as ev
from drillaid.guidance.events import RegistrationView
from drillaid.guidance.order import Order, Run
from drillaid.guidance.work import Stop, Work
from drillaid.rig.frame import Frame
from drillaid.simulation.table import SimulatedTable
from drillaid.simulation.table_motion import Mechanics
from drillaid.simulation.table_port import SimulatedClock, SimulatedWire
from drillaid.table import job as j
from drillaid.table.controller import Controller
from drillaid.table.dialect_file import load_dialect
from drillaid.table.drilling import DrillJob
from drillaid.table.eye import Eye
from drillaid.table.link import Link
from drillaid.table.machine import Machine
from drillaid.table.setup import TableSetup
from drillaid.table.timing import Pace

SPINDLE = np.array([1.0, -0.5])
# Faster than any home-made table, so that tests need few steps.
QUICK = Mechanics(speed_mm_s=(200.0, 200.0, 60.0), acceleration_mm_s2=(5000.0, 5000.0, 3000.0))
FPS = 30.0
HOLES = ((0.0, 0.0), (2.54, 0.0), (10.0, 5.0), (-8.0, 6.0))
BITS = (0.8, 0.8, 0.8, 1.2)

__all__ = ["Order", "Run", "TableBench", "QUICK", "SPINDLE"]


def setup_for(mechanics: Mechanics, **changes) -> TableSetup:
    """What a rig file would say of this table; `changes` say it otherwise."""
    limits = np.array(mechanics.limits_mm)
    values = dict(
        dialect="line-ack",
        matrix=np.eye(2),
        backlash_mm=np.array(mechanics.backlash_mm),
        limits_mm=limits,
        view_mm=limits[:2].mean(axis=1),
        pace=Pace(mechanics.speed_mm_s, mechanics.acceleration_mm_s2),
        safe_z_mm=-12.0,
        surface_z_mm=mechanics.surface_z_mm,
        spindle_rpm=20_000.0,
        spin_up_s=0.3,
        settle_s=0.03,
    )
    return TableSetup(**values | changes)


class KnowingCamera:
    """Pictures of nothing but their number; `place` is asked for the board's pose at each."""

    name, live = "knowing camera", False

    def __init__(self, clock: SimulatedClock, place) -> None:
        self._clock, self._place = clock, place
        self.poses: dict[int, Affine | None] = {}
        self.times: list[float] = []
        self.lost = self.stalled = self.frozen = False
        self.number = 0
        self._due = 0.0

    def read(self, timeout_s: float = 2.0) -> Frame:
        if self.lost:
            raise CameraLost("The camera (knowing camera) is gone; plug it in again.")
        wait = max(0.0, self._due - self._clock.now())
        if self.stalled or wait > timeout_s:
            self._clock.advance(timeout_s)
            raise CameraTimeout(f"No picture within {timeout_s:g} s.")
        self._clock.advance(wait)
        self._due = self._clock.now() + 1 / FPS
        if not self.frozen or not self.number:
            self.number += 1
            self.poses[self.number] = self._place()
        self.times.append(self._clock.now())
        image = np.full((16, 16, 3), self.number % 251, np.uint8)
        image[0, 0] = [self.number % 256, self.number // 256 % 256, self.number // 65536]
        return Frame(image, len(self.times), self._clock.now())


class KnowingFinder:
    def __init__(self, camera: KnowingCamera, holes: int, noise_mm: float, seed: int) -> None:
        self._camera, self._holes = camera, holes
        self._rng = np.random.default_rng([seed, 31])
        self.noise_mm, self.error_mm = noise_mm, 0.02

    def expect(self, shift_mm) -> None:
        """Knowing needs no help."""

    def look(self, image):
        b, g, r = (int(v) for v in image[0, 0])
        pose = self._camera.poses[b + 256 * g + 65536 * r]
        if pose is None:
            return unseen("too little of it is in view")
        offset = pose.offset + self._rng.normal(0, self.noise_mm, 2)
        seen = Affine(np.column_stack([pose.linear, offset]))
        return registered(RegistrationView(0, 0.0, seen, np.full(self._holes, self.error_mm)))


class TableBench:
    """job: a `DrillJob` on a simulated table; the person confirms what is asked.

    bores: (design mm, turning) of each hole drilled; hands: [from, to) times at which the
    person was asked to touch
    """

    def __init__(
        self,
        *,
        dialect: str = "line-ack",
        mechanics: Mechanics = QUICK,
        setup: TableSetup | None = None,
        holes=HOLES,
        bits=BITS,
        seed: int = 0,
        noise_mm: float = 0.002,
        settings: j.JobSettings | None = None,
        record=None,
        needs_board: bool = True,
    ) -> None:
        self.clock = SimulatedClock()
        self.table = SimulatedTable(
            self.clock.now, dialect=dialect, mechanics=mechanics, seed=seed, on_drill=self._bore
        )
        self.wire = SimulatedWire(self.table, self.clock)
        self.link = Link(self.wire)
        self.setup = setup or setup_for(mechanics, dialect=dialect)
        self.machine = Machine(
            Controller(self.link, load_dialect(dialect), self.setup), self.clock.now,
            needs_board=needs_board,
        )  # fmt: skip
        self.xy = np.array(holes, dtype=float)
        self.bits = bits
        middle = mechanics.matrix @ self.setup.view_mm
        # the board's middle lies under the spindle when the table is in its middle
        turn = Affine.from_parts(rotation_rad=0.3, mirrored=True)
        at = SPINDLE - turn(self.xy.mean(axis=0))[0] - middle
        self.base = Affine(np.column_stack([turn.linear, at]))
        self.pushed = np.zeros(2)
        self.board_gone = False
        self.camera = KnowingCamera(self.clock, self._pose_or_none)
        self.finder = KnowingFinder(self.camera, len(self.xy), noise_mm, seed)
        self.eye = Eye(self.camera, self.finder, self.clock.now)
        self.bores: list[tuple[np.ndarray, bool]] = []
        self.hands: list[list[float]] = []
        self.job = DrillJob(self.machine, self.eye, self.plan, SPINDLE, settings, record=record)

    def plan(self, to_table: Affine, here) -> Work:
        return Work(
            tuple(
                Stop(n, tuple(xy), bit)
                for n, (xy, bit) in enumerate(zip(self.xy.tolist(), self.bits, strict=True), 1)
            )
        )

    @property
    def pose(self) -> Affine:
        """Design -> bench, now, the truth."""
        offset = self.base.offset + self.table.bench_mm + self.pushed
        return Affine(np.column_stack([self.base.linear, offset]))

    def _pose_or_none(self) -> Affine | None:
        return None if self.board_gone else self.pose

    def _bore(self, bench_mm: np.ndarray, time_s: float) -> None:
        offset = self.base.offset + bench_mm + self.pushed
        pose = Affine(np.column_stack([self.base.linear, offset]))
        self.bores.append((pose.inverse(SPINDLE)[0], self.table.spinning))

    def answer(self, view: j.JobView) -> None:
        """What a person does who is asked."""
        if view.state == j.CHANGE_BIT:
            self.hands.append([self.clock.now(), np.inf])
            self.clock.advance(0.5)
            self.hands[-1][1] = self.clock.now()
        if view.state in j.ASKS:
            self.job.act(ev.Confirm())

    def run(self, *, steps: int = 5000, before_step=None) -> j.Outcome:
        """To the end, or AssertionError after so many steps: a hang."""
        for k in itertools.count():
            assert k < steps, f"a hang in {self.job.view}"
            if before_step is not None:
                before_step(self)
            view = self.job.step()
            if self.job.outcome is not None:
                return self.job.outcome
            self.answer(view)

    def off_mm(self) -> np.ndarray:
        """Distances of the bores from the nearest hole of the design."""
        return np.array([np.hypot(*(self.xy - at).T).min() for at, _ in self.bores])


def broken_invariants(bench: TableBench) -> list[str]:
    """What the table's own log and the camera's say against the promises of `table.machine`.

    Nothing of the program's own bookkeeping is used, but for when a person was asked to touch.
    """
    setup, table = bench.setup, bench.table
    found = []
    ready_home = False
    low, high = setup.limits_mm.T
    last_xy_end = -np.inf
    moves_since_home = 0
    first_picture_after_home = False
    for h in table.log:
        if h.what in ("restart", "alarm"):
            ready_home = False
        if h.what == "overrun":
            found.append(f"{h.time_s:.3f}: two motion lines at once")
        if h.what == "home":
            ready_home, moves_since_home, home_s = True, 0, h.time_s
        if h.what == "spindle" and h.text == "on":
            if any(a <= h.time_s < b for a, b in bench.hands):
                found.append(f"{h.time_s:.3f}: spindle on under a person's hands")
        if h.what == "motion":
            if not ready_home:
                found.append(f"{h.time_s:.3f}: moved without home")
            start, end = np.array(h.start), np.array(h.end)
            if (end < low - 1e-6).any() or (end > high + 1e-6).any():
                found.append(f"{h.time_s:.3f}: beyond the soft limits")
            if any(a <= h.time_s < b for a, b in bench.hands):
                found.append(f"{h.time_s:.3f}: moved under a person's hands")
            if np.abs(end - start)[:2].max() > 1e-6:
                if not setup.lever and h.z < setup.safe_z_mm - 0.06:
                    found.append(f"{h.time_s:.3f}: XY motion with the bit down")
                moves_since_home += 1
                first_picture_after_home = any(home_s < t <= h.time_s for t in bench.camera.times)
                if moves_since_home > 1 and not first_picture_after_home:
                    found.append(f"{h.time_s:.3f}: moved before the board was found again")
                last_xy_end = np.inf  # until it arrives
            elif end[2] < start[2] and end[2] < setup.surface_z_mm:
                if not any(last_xy_end < t <= h.time_s for t in bench.camera.times):
                    found.append(f"{h.time_s:.3f}: plunged without a picture since the last move")
                if setup.switched and not h.spinning:
                    found.append(f"{h.time_s:.3f}: plunged with the spindle standing")
        if h.what == "arrived" and np.abs(np.subtract(h.end, h.start))[:2].max() > 1e-6:
            last_xy_end = h.time_s
        if h.what == "drill" and any(a <= h.time_s < b for a, b in bench.hands):
            found.append(f"{h.time_s:.3f}: drilled under a person's hands")
    return found
