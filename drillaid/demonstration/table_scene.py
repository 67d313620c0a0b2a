"""What is invented for `demo --table`: a small board and a home-made table under it."""

from __future__ import annotations

import numpy as np

from drillaid.simulation import parts
from drillaid.simulation.designs import InventedDesign, Layout, Placed
from drillaid.simulation.table_bench import TableOnBench

TELLING = (
    "Everything in this demo is invented: the board, a doorbell tester for a school workshop "
    "that does not exist, the table, the camera and the person. No board was drilled."
)
FACE = "bottom"
THICKNESS_MM = 1.6
WANDER_MM = 0.02  # one sigma on each axis: how far the bit runs off as it bites
STEM = "doorbell_tester"


def table_design() -> InventedDesign:
    """The board of the demo, invented: few holes, four bits."""
    layout = Layout((46.0, 30.0), 0.4)
    for placed in (
        Placed(parts.mounting_hole(6.0), 4.5, 25.5),
        Placed(parts.mounting_hole(6.0), 41.5, 4.5),
        Placed(parts.dual_row(8), 20.32, 15.24),
        Placed(parts.terminal(2), 34.29, 20.32),
        Placed(parts.resistor(), 8.89, 3.81),
        Placed(parts.resistor(), 22.86, 25.40),
        Placed(parts.header(3), 30.48, 8.89),
    ):
        layout.place(placed)
    layout.connect_neighbours(np.random.default_rng(8), (0.7, 0.8, 1.2), 0.9)
    return layout.design("doorbell tester (invented)")


def table_scene(design: InventedDesign, seed: int) -> TableOnBench:
    """The table has backlash, skew, a wrong scale and loses steps now and then; the same
    seed gives the same table, board and place."""
    sim = TableOnBench(design, seed, face=FACE, thickness_mm=THICKNESS_MM)
    sim.bench.wander_sigma_mm = WANDER_MM
    return sim
