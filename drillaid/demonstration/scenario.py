"""The demo's scenario, all of it invented: the board, the bench, and what goes wrong.

What is drawn here is the truth. Only the closing comparison (`closing`) may
look at it; nothing that finds, guides or measures does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from drillaid.rig.rig import Rig
from drillaid.simulation.bench import Light, Occluders, Optics, SimulatedBench
from drillaid.simulation.board import SimulatedBoard
from drillaid.simulation.designs import demo_design
from drillaid.simulation.look import Look
from drillaid.simulation.rigs import nominal_rig

TELLING = (
    "Everything in this demo is invented: the board, a stair-light timer for a school workshop "
    "that does not exist, the bench, the camera and the hand. No board was drilled."
)
FACE = "bottom"
THICKNESS_MM = 1.6
PRINT_SCALE = (0.996, 1.0)  # a printer that draws 0.4 % too little along the paper
MM_PER_PX = 0.09  # the whole board stays in view with any hole under the spindle
SIZE_PX = (1920, 1080)
WANDER_MM = 0.03  # one sigma on each axis: how far the bit runs off as it bites
_FAR_MM = 20.0  # the two holes that go wrong lie apart
SLIP_MM = 0.62  # the board is pulled this far aside while one hole is drilled


@dataclass(frozen=True, eq=False)
class Scenario:
    """bench: with the board on it; lost: number of the hole whose pad etched away;
    slips: hole -> how the board is pulled aside while it is drilled, bench mm."""

    bench: SimulatedBench
    lost: int
    slips: dict[int, tuple[float, float]]

    @property
    def rig(self) -> Rig:
        return self.bench.rig


def scenario(seed: int, *, size: tuple[int, int] = SIZE_PX) -> Scenario:
    """The same seed gives the same demo. size: (width, height) px of the camera's picture."""
    rng = np.random.default_rng([seed, 21])
    design = demo_design()
    lost, slipped = _victims(design, rng)
    tilt, side = math.radians(rng.uniform(2, 5)), rng.uniform(0, 2 * math.pi)
    mm_per_px = MM_PER_PX * SIZE_PX[0] / size[0]
    rig = nominal_rig(*size, mm_per_px, tilt, side, seed=seed)
    board = SimulatedBoard(
        design,
        Look(
            finish="bright",
            laminate="yellow",
            etch_mm=float(rng.uniform(0.02, 0.06)),
            ragged_mm=0.014,
            centre_marks_mm=0.4,
            scratches=14,
            lost=(lost,),
            tone=0.6,
            cut_mm=1.0,
        ),
        print_scale=PRINT_SCALE,
        face=FACE,
        seed=seed,
        px_per_mm=float(1.3 * rig.px_per_mm(THICKNESS_MM)),
    )
    bench = SimulatedBench(
        board,
        rig,
        thickness_mm=THICKNESS_MM,
        light=Light(
            level=0.95,
            gradient=float(rng.uniform(0.45, 0.65)),
            gradient_rad=float(rng.uniform(0, 2 * math.pi)),
            ambient_shine=0.3,
            warmth=0.4,
        ),
        optics=Optics(blur_px=0.6, noise=2.0),
        sheet="plywood",
        clutter=8,
        wander_sigma_mm=WANDER_MM,
        seed=seed,
    )
    bench.place(*rng.normal(0, 4, 2), rng.uniform(-0.35, 0.35))
    pull = rng.uniform(0, 2 * math.pi)
    return Scenario(bench, lost, {slipped: (SLIP_MM * math.cos(pull), SLIP_MM * math.sin(pull))})


def ready_to_drill(bench: SimulatedBench) -> None:
    """The bit stands over the board from now on, as it does while drilling."""
    bench.occluders = Occluders(bit=True)


def for_the_photograph(bench: SimulatedBench) -> None:
    """Spindle raised out of the way, board in the middle as it lies."""
    bench.occluders = Occluders()
    bench.place(0.0, 0.0, bench.pose.rotation_rad)


def _victims(design, rng) -> tuple[int, int]:
    """(the hole whose pad etched away, the hole that will wander): two different parts' holes.

    The one that wanders belongs to a long row, because rows are what must be right.
    """
    small = [h.number for h in design.holes if h.plated and h.drill_mm <= 1.0]
    xy = design.xy_mm
    near = np.hypot(*(xy[:, None] - xy[None]).T)
    in_rows = [
        n for n in small if int((np.abs(near[n - 1] - 2.54) < 0.01).sum()) == 2
    ]
    slipped = int(rng.choice(in_rows))
    far = [n for n in small if near[n - 1, slipped - 1] > _FAR_MM]
    return int(rng.choice(far)), slipped
