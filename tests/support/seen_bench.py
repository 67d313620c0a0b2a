"""Boards pushed to the spindle, drilled or not, and away again: who sees a hole?"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from types import SimpleNamespace

import numpy as np

from drillaid.geometry import Affine, Homography
from drillaid.guidance.seen_hole import HoleWatch
from drillaid.guidance.work import Stop
from drillaid.registration.result import Placement
from drillaid.simulation.conditions import bench_for
from drillaid.simulation.designs import random_design
from drillaid.simulation.rigs import nominal_rig

REGISTERED_MM = 0.015  # one sigma of each coordinate, from picture to picture
FIRST_MM, LAST_MM, LOOKS = 7.0, 2.0, 10
SIZE = 320, 320


@dataclass(frozen=True)
class Case:
    drilled: bool
    seen: bool
    reason: str
    seed: int
    hole: int


def small_view(seed: int, **occluders):
    """An ordinary bench seen at 0.06 mm/px, but only 19 mm of it, so that it is drawn soon."""
    rng = np.random.default_rng([seed, 77])
    rig = _cropped(
        nominal_rig(
            tilt_rad=math.radians(rng.uniform(0, 6)),
            tilt_direction_rad=rng.uniform(0, 6),
            seed=seed,
        )  # fmt: skip
    )
    bench = bench_for(random_design(seed), seed, rig=rig)
    bench.occluders = replace(bench.occluders, bit=bool(rng.random() < 0.4), **occluders)
    return bench


def _cropped(rig):
    """The middle of the same camera's picture, about the spindle."""
    u, v = rig.to_pixels([rig.spindle_mm(1.6)], 1.6)[0]
    matrix = rig.matrix.copy()
    matrix[:2, 2] -= np.rint([u - SIZE[0] / 2, v - SIZE[1] / 2])
    return replace(rig, width=SIZE[0], height=SIZE[1], matrix=matrix)


def drill_some(seed: int, holes: int, share: float, *, disturb=None, **occluders) -> list[Case]:
    """disturb(bench, rng): what happens between before and after, apart from drilling"""
    rng = np.random.default_rng([seed, 78])
    bench = small_view(seed, **occluders)
    watch = HoleWatch(lambda: (bench.rig, bench.thickness_mm))
    design, cases = bench.board.design, []
    for row in rng.permutation(len(design.holes))[:holes]:
        drilled = bool(rng.random() < share)
        stop = Stop(int(row) + 1, tuple(design.xy_mm[row]), design.holes[row].drill_mm)
        cases.append(_one(bench, watch, rng, stop, drilled, disturb, seed))
    return cases


def _one(bench, watch, rng, stop: Stop, drilled: bool, disturb, seed: int) -> Case:
    def bring(off, *, on: bool = False, time_s: float = 0.0) -> bool:
        bench.move(*(bench.spindle_mm + off - bench.truth(stop.xy_mm)[0]), rng.normal(0, 0.02))
        matrix = bench.truth
        matrix = Affine(
            np.column_stack([matrix.linear, matrix.offset + rng.normal(0, REGISTERED_MM, 2)])
        )
        place = Placement(
            "affine", Homography.of(matrix), matrix, np.zeros((0, 2)), None, np.zeros(0),
            np.zeros(0, bool), 0.0, bench.rig.px_per_mm(),
        )  # fmt: skip
        off_mm = tuple(bench.spindle_mm - matrix(stop.xy_mm)[0])
        guidance = SimpleNamespace(
            target=stop, can_confirm=on, time_s=time_s, off_mm=off_mm,
            distance_mm=float(np.hypot(*off_mm)),
        )  # fmt: skip
        return watch.look(bench.render(), SimpleNamespace(placement=place), guidance)

    def way(outward: bool):
        angle = rng.uniform(0, 2 * math.pi)
        far = np.linspace(FIRST_MM, LAST_MM, LOOKS)
        for distance in far[::-1] if outward else far:
            yield distance * np.array([math.cos(angle), math.sin(angle)])

    for off in way(outward=False):
        assert not bring(off)
    assert not bring(rng.normal(0, 0.05, 2), on=True)
    if drilled:
        bench.drill(stop.bit_mm)
    if disturb is not None:
        disturb(bench, rng)
    seen = any(bring(off, time_s=1.0 + 0.1 * k) for k, off in enumerate(way(outward=True)))
    return Case(drilled, seen, watch.last.reason if watch.last else "", seed, stop.hole)
