"""Boards that are one pour, every land on its net: the frame and the centre marks are all they show."""

from __future__ import annotations

import numpy as np

from drillaid.geometry import Affine
from drillaid.registration.register import register_picture
from drillaid.simulation import parts
from drillaid.simulation.bench import Light, SimulatedBench
from drillaid.simulation.board import SimulatedBoard
from drillaid.simulation.designs import Layout, Placed
from drillaid.simulation.look import Look
from drillaid.simulation.rigs import nominal_rig

SIZE_MM = (58.0, 40.0)


def pour_of(*placed: Placed, name: str = "all one pour (invented)"):
    """Every land on the pour's net, none with clearance: the frame is all the copper shows."""
    layout = Layout(SIZE_MM)
    lands = [index for part in placed for index in layout.place(part) if index is not None]
    layout.router.net_of[:] = [layout.router.net_of[lands[0]]] * len(layout.router.net_of)
    return layout.design(name, pour_clearance_mm=0.4)


def lopsided():
    return pour_of(
        Placed(parts.dual_row(14), 10, 22),
        Placed(parts.header(6), 12, 34),
        Placed(parts.terminal(3), 40, 30),
        Placed(parts.resistor(), 36, 12),
    )


def bench_of(design, seed: int, marks_mm: float = 0.4) -> SimulatedBench:
    """A pour in bright copper, lying askew, 0.06 mm a pixel, camera 4 degrees aslant."""
    look = Look(centre_marks_mm=marks_mm, etch_mm=0.03, tone=0.4)
    board = SimulatedBoard(design, look, print_scale=(1.002, 0.997), seed=seed, px_per_mm=20.0)
    rig = nominal_rig(1920, 1080, 0.06, 0.07, 0.4 * seed, seed=seed)
    bench = SimulatedBench(board, rig, light=Light(gradient=0.4), seed=seed)
    bench.pose = Affine.from_parts(rotation_rad=0.35 * seed, offset=(1.5, -2.0))
    return bench


def found(bench, design=None, image=None, **options):
    """image: of the bench, where it is drawn already"""
    design = bench.board.design if design is None else design
    image = bench.render() if image is None else image
    return register_picture(
        image, design, rig=bench.rig, thickness_mm=bench.thickness_mm, **options
    )


def half_turned_twin():
    """Two rows of pins that half a turn does not change."""
    row = parts.dual_row(14)
    middle = np.mean([(pin.dx_mm, pin.dy_mm) for pin in row.pins], axis=0)
    return pour_of(Placed(row, SIZE_MM[0] / 2 - middle[0], SIZE_MM[1] / 2 - middle[1]))


def another():
    """The same parts elsewhere in the same frame."""
    return pour_of(
        Placed(parts.dual_row(14), 24, 30),
        Placed(parts.header(6), 32, 9),
        Placed(parts.terminal(3), 14, 8),
        Placed(parts.resistor(), 40, 34),
    )
