"""Benches on which no board can be found, each for a reason of its own; and a knocked arm.

Each takes an ordinary bench, by default `ordinary(seed)`, and spoils it.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from drillaid.guidance.guidance import UNTRUE, Guidance
from drillaid.simulation.bench import Light, Occluders, SimulatedBench
from drillaid.simulation.board import SimulatedBoard
from drillaid.simulation.conditions import ordinary
from drillaid.simulation.prints import knocked
from drillaid.simulation.water import Water


class KnockedArm:
    """The camera's arm is knocked once so many holes are done, and put back to the stop it
    came from by a person who has been told for a while.

    knocked, put_back: whether that has happened
    """

    SHIFT_MM, TURN_RAD = (0.5, -0.3, 0.0), (0.0, 0.001, 0.004)
    TOLD_FOR = 6  # pictures

    def __init__(self, bench: SimulatedBench, after_holes: int) -> None:
        self._bench, self._after, self._before, self._told = bench, after_holes, bench.rig, 0
        self.knocked = self.put_back = False

    def happen(self, guidance: Guidance) -> None:
        """To be called with what the person is shown."""
        if not self.knocked:
            if guidance.progress.done >= self._after:
                self.knocked = True
                self._bench.knock(knocked(self._before, self.SHIFT_MM, self.TURN_RAD))
        elif not self.put_back and guidance.state == UNTRUE:
            self._told += 1
            if self._told >= self.TOLD_FOR:
                self.put_back = True
                self._bench.knock(self._before)


def again(bench: SimulatedBench, seed: int, **changes) -> SimulatedBench:
    """The same bench with something else about it."""
    options = {
        "thickness_mm": bench.thickness_mm,
        "light": bench.light,
        "optics": bench.optics,
        "occluders": bench.occluders,
        "sheet": bench.sheet,
        "clutter": bench.clutter,
        "seed": seed,
    } | changes
    board = options.pop("board", bench.board)
    again = SimulatedBench(board, bench.rig, **options)
    again.pose = bench.pose
    return again


def bare_side(seed: int, bench: SimulatedBench | None = None) -> SimulatedBench:
    """An ordinary bench, its one-sided board the wrong side up: nothing but laminate."""
    bench = bench or ordinary(seed)
    old = bench.board
    other = "top" if old.face == "bottom" else "bottom"
    board = SimulatedBoard(
        old.design, replace(old.look, bare=True), face=other, seed=seed, px_per_mm=old.px_per_mm
    )
    return again(bench, seed, board=board)


def defocused(
    seed: int, bench: SimulatedBench | None = None, low_px: float = 3.0, high_px: float = 8.0
) -> SimulatedBench:
    """An ordinary bench out of focus, by a Gaussian of a sigma between these."""
    bench, rng = bench or ordinary(seed), np.random.default_rng([seed, 13])
    blur = float(rng.uniform(low_px, high_px))
    return again(bench, seed, optics=replace(bench.optics, blur_px=blur))


def shaken(
    seed: int, bench: SimulatedBench | None = None, low_px: float = 15.0, high_px: float = 45.0
) -> SimulatedBench:
    """An ordinary bench on which the board was pushed during the exposure, so many px far."""
    bench, rng = bench or ordinary(seed), np.random.default_rng([seed, 14])
    length, turn = rng.uniform(low_px, high_px), rng.uniform(0, 2 * math.pi)
    smear = (float(length * math.cos(turn)), float(length * math.sin(turn)))
    return again(bench, seed, optics=replace(bench.optics, motion_px=smear))


def under_water(seed: int, bench: SimulatedBench | None = None) -> SimulatedBench:
    """An ordinary bench whose board lies in a tray of rippled water."""
    bench, rng = bench or ordinary(seed), np.random.default_rng([seed, 15])
    water = Water(
        depth_mm=float(rng.uniform(5, 18)),
        ripple_mm=float(rng.uniform(0.04, 0.16)),
        wave_mm=float(rng.uniform(10, 22)),
        murk=float(rng.uniform(0.0, 0.35)),
        glints=float(rng.uniform(60, 220)),
        seed=seed,
    )
    return again(bench, seed, water=water)


def dim(seed: int, bench: SimulatedBench | None = None) -> SimulatedBench:
    """An ordinary bench with hardly any light left."""
    bench, rng = bench or ordinary(seed), np.random.default_rng([seed, 16])
    level = float(rng.uniform(0.03, 0.15))
    noise = float(rng.uniform(3, 6))
    return again(
        bench,
        seed,
        light=replace(bench.light, level=level),
        occluders=Occluders(),
        optics=replace(bench.optics, noise=noise),
    )


def dazzled(seed: int, bench: SimulatedBench | None = None) -> SimulatedBench:
    """An ordinary bench so bright that nearly all of the picture is white."""
    bench, rng = bench or ordinary(seed), np.random.default_rng([seed, 17])
    light = Light(
        level=1.9,
        gradient=float(rng.uniform(0, 0.2)),
        ambient_shine=0.9,
        glare=8,
        glare_strength=float(rng.uniform(2.5, 4.0)),
        warmth=float(rng.uniform(-0.3, 0.3)),
    )
    return again(bench, seed, light=light, sheet="white")


def held(seed: int, bench: SimulatedBench | None = None, share: float = 0.6) -> SimulatedBench:
    """An ordinary bench with up to six fingers over the board."""
    bench = bench or ordinary(seed)
    return again(bench, seed, occluders=Occluders(fingers=share))


def barely_in_view(seed: int, bench: SimulatedBench | None = None) -> SimulatedBench:
    """An ordinary bench, its board pushed away until a tenth of its holes are left in view."""
    bench, rng = bench or ordinary(seed), np.random.default_rng([seed, 18])
    turn = rng.uniform(0, 2 * math.pi)
    step = np.array([math.cos(turn), math.sin(turn)])
    for _ in range(400):
        if bench.in_view(10).mean() <= 0.12:
            break
        bench.move(*step)
    return bench
