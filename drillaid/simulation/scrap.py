"""A piece of scrap under the spindle of a simulated bench, with one fresh hole in it."""

from __future__ import annotations

import math

import numpy as np

from drillaid.design.model import Design, Outline
from drillaid.simulation.bench import SimulatedBench
from drillaid.simulation.board import SimulatedBoard
from drillaid.simulation.bore_looks import BenchHabits
from drillaid.simulation.look import Look


def scrap_bench(
    like: SimulatedBench,
    seed: int,
    *,
    bit_mm: float | None = 1.0,
    size_mm: tuple[float, float] = (60.0, 40.0),
    thickness_mm: float | None = None,
    wander_mm: tuple[float, float] = (0.0, 0.0),
) -> SimulatedBench:
    """The bench of `like` with bare laminate of the same make instead of its board.

    The camera, the light and the spindle are its own. thickness_mm: another than the
    board's shows what that does. bit_mm: of the hole that has been drilled; None: none.
    wander_mm: from the spindle axis to that hole, bench axes.
    """
    rng = np.random.default_rng([seed, 31])
    thickness = like.thickness_mm if thickness_mm is None else thickness_mm
    laminate = "yellow" if like.board is None else like.board.look.laminate
    corners = (np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) / 2) * size_mm
    blank = Design("scrap", (), outline=Outline((corners,)))
    board = SimulatedBoard(
        blank,
        Look(laminate=laminate, scratches=int(rng.integers(3, 15)), tone=0.6),
        face="top",
        seed=seed,
        px_per_mm=float(np.clip(1.2 * like.rig.px_per_mm(thickness), 4, 24)),
    )
    bench = SimulatedBench(
        board, like.rig, thickness_mm=thickness, light=like.light, optics=like.optics, seed=seed,
        # one fresh hole, blown clean: pale dust in pale scrap shows no rim to anybody
        habits=BenchHabits.clean(seed),
    )  # fmt: skip
    spindle = bench.spindle_mm
    if spindle is None:
        raise ValueError("this rig knows no spindle axis")
    bench.place(*(spindle + rng.uniform(-6, 6, 2)), rng.uniform(-math.pi, math.pi))
    if bit_mm is not None:
        board.drill(bench.truth.inverse(spindle + wander_mm)[0], bit_mm)
    return bench
